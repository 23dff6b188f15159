"""What a gateway hears whose units are taken in by workers beside it: their commits, by reading.

It stands where a worker's holding stands, and holds no unit.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Mapping

from gateway.clock import steady_s
from gateway.history.store import Commit, History, HistoryFault, SiteReader, StreamKey

log = logging.getLogger("seafret.ingest")

LOOK_S = 0.5
"""Between two looks at the marks of all sites: so late may an alarm be in the list."""

LINES_A_LOOK = 2_000
"""Lines of one stream in memory at a time; the rest come with the next look."""


class Beside:
    """on_commit: told what came, as by an intake. known: marks up to which everything is known."""

    tokens: Mapping[str, int] = {}

    def __init__(
        self,
        history: History,
        sites: Iterable[str],
        known: Mapping[StreamKey, int],
        on_commit: Callable[[str, Commit], None],
    ) -> None:
        self._history, self._sites = history, tuple(sites)
        self._known = dict(known)
        self._on_commit = on_commit
        self._readers: dict[str, SiteReader] = {}
        self._next_s = 0.0

    def see(self, unit: str) -> None:
        """The workers' leader tells of new units."""

    def take_change(self) -> bool:
        """Hears what was committed since the last look; nothing changes hands. For one thread."""
        now_s = steady_s()
        if now_s >= self._next_s:
            self._next_s = now_s + LOOK_S
            for site in self._sites:
                self._follow(site)
        return False

    def close(self) -> None:
        """Ends the readers."""
        for reader in self._readers.values():
            reader.close()
        self._readers.clear()

    def _follow(self, site: str) -> None:
        try:
            if site not in self._readers:
                self._readers[site] = self._history.reader(site)
            reader = self._readers[site]
            for key, mark in reader.marks().items():
                after = self._known.get(key, 0)
                if after < mark.upto:
                    lines = reader.lines(key, after, LINES_A_LOOK)
                    if lines:
                        self._on_commit(site, Commit(mark.received_us, tuple(lines)))
                    last = lines[-1].seq if lines else 0
                    # Below a full page nothing is left: the rest is covered by loss records.
                    whole = len(lines) < LINES_A_LOOK
                    self._known[key] = max(mark.upto, last) if whole else last
        except HistoryFault as fault:
            log.warning("%s; looking again", fault)
            if (reader_gone := self._readers.pop(site, None)) is not None:
                reader_gone.close()
