"""The thread that keeps a worker's leases, beside the one that judges and commits.

The leases are asked for here, and taken up by the ingest thread between two commits: only then do
the tokens change by which it commits, are its marks read anew, and does it hear other units.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping

from gateway.history.postgres_leases import Fence, Leases
from gateway.history.store import HistoryFault
from gateway.ingest.topics import site_of
from gateway.repeating import Repeating

log = logging.getLogger("seafret.ingest")

LOOK_S = 0.5
"""Between two looks at the leases; a lease outlives several that fail."""


class Holding(Repeating):
    """known: units that the settings name. sites: those whose units are told of."""

    def __init__(
        self,
        leases: Leases,
        fence: Fence,
        known: Iterable[str],
        sites: Iterable[str],
        on_end: Callable[[BaseException | None], None],
    ) -> None:
        super().__init__("leases", 0.0, LOOK_S, on_end)
        self._leases, self._fence, self._sites = leases, fence, frozenset(sites)
        self._seen = frozenset(known)
        self._held: Mapping[str, int] = {}

    @property
    def tokens(self) -> Mapping[str, int]:
        """Of the units that are committed for now."""
        return self._fence.tokens

    def take_change(self) -> bool:
        """Takes up what the leases say now; whether that is something new. The ingest thread's."""
        held = self._held
        if held == self._fence.tokens:
            return False
        gained, lost = held.keys() - self.tokens.keys(), self.tokens.keys() - held.keys()
        log.info("units held: %d, %d gained, %d lost", len(held), len(gained), len(lost))
        self._fence.tokens = held
        return True

    def see(self, unit: str) -> None:
        """A unit has said something; the leader tells of it."""
        if unit not in self._seen and site_of(unit) in self._sites:
            self._seen |= {unit}

    def round(self) -> None:
        """Keeps the leases; a database that does not answer now is asked again."""
        try:
            self._leases.tell(self._seen)
            self._held = self._leases.renew()
        except HistoryFault as fault:
            log.warning("%s; asking again", fault)

    def stop(self) -> None:
        """Gives the units up; after the last commit."""
        super().stop()
        try:
            self._leases.give_up()
        except HistoryFault as fault:
            log.warning("%s; the leases run out by themselves", fault)
