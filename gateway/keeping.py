"""The thread of a running gateway that thins old minute rows once a day.

It uses each site's one writer and takes its lock week by week, so that ingest goes on between. A
store that cannot be written now is told of once and tried again the next time. What is old is old
beside the newest row, too: a clock of the gateway that runs years ahead thins nothing.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable

from gateway.history.retention import DAY_US, PACK_AFTER_DAYS, SiteThinner, keep_from_us
from gateway.history.store import HistoryFault, SiteWriter
from gateway.repeating import Repeating

log = logging.getLogger("seafret.keeping")

EVERY_S = 86_400.0
FIRST_S = 600.0
"""Real seconds between two rounds, and until the first: a start has other things to do."""


class Keeper(Repeating):
    """writer: the one writer of a site. now_us: the gateway's clock."""

    def __init__(
        self,
        sites: Iterable[str],
        writer: Callable[[str], SiteWriter],
        keep_days: int,
        now_us: Callable[[], int],
        on_end: Callable[[BaseException | None], None],
        first_s: float = FIRST_S,
    ) -> None:
        super().__init__("keeping", first_s, EVERY_S, on_end)
        self._sites, self._writer = tuple(sites), writer
        self._keep_days, self._now_us = keep_days, now_us

    def round(self) -> None:
        """Every site in turn; ends early, after the week at hand, when asked to stop."""
        for site in self._sites:
            writer = self._writer(site)
            if not isinstance(writer, SiteThinner):
                continue
            try:
                packed_us = self._now_us() - PACK_AFTER_DAYS * DAY_US
                writer.pack(packed_us, self._asked_to_stop.is_set)
                newest_us = writer.newest_us()
                if newest_us is None:
                    continue
                before_us = keep_from_us(min(self._now_us(), newest_us), self._keep_days)
                done = writer.thin(before_us, self._asked_to_stop.is_set)
            except HistoryFault as fault:
                log.warning("%s; old rows stay as they are until the next round", fault)
                continue
            if done.weeks:
                log.info("%s: %d rows became %d", site, done.rows_before, done.rows_after)
