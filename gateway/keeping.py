"""The thread of a running gateway that thins old minute rows once a day.

It uses each site's one writer and takes its lock week by week, so that ingest goes on between. A
store that cannot be written now is told of once and tried again the next time.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable

from gateway.history.retention import DAY_US, PACK_AFTER_DAYS, SiteThinner, keep_from_us
from gateway.history.store import HistoryFault, SiteWriter

log = logging.getLogger("seafret.keeping")

EVERY_S = 86_400.0
FIRST_S = 600.0
"""Real seconds between two rounds, and until the first: a start has other things to do."""


class Keeper(threading.Thread):
    """writer: the one writer of a site. now_us: the gateway's clock. on_end: told what ended it,
    None when asked to."""

    def __init__(
        self,
        sites: Iterable[str],
        writer: Callable[[str], SiteWriter],
        keep_days: int,
        now_us: Callable[[], int],
        on_end: Callable[[BaseException | None], None],
        first_s: float = FIRST_S,
    ) -> None:
        super().__init__(name="keeping", daemon=True)
        self._sites, self._writer = tuple(sites), writer
        self._keep_days, self._now_us, self._on_end = keep_days, now_us, on_end
        self._wait_s = first_s
        self._asked_to_stop = threading.Event()

    def run(self) -> None:
        """Until asked to stop; a fault of the program ends it and is handed on."""
        try:
            while not self._asked_to_stop.wait(self._wait_s):
                self._round()
                self._wait_s = EVERY_S
        except BaseException as fault:
            self._on_end(fault)

    def stop(self) -> None:
        """Ends after the week at hand."""
        self._asked_to_stop.set()
        if self.ident is not None:
            self.join()

    def _round(self) -> None:
        for site in self._sites:
            writer = self._writer(site)
            if not isinstance(writer, SiteThinner):
                continue
            try:
                packed_us = self._now_us() - PACK_AFTER_DAYS * DAY_US
                writer.pack(packed_us, self._asked_to_stop.is_set)
                before_us = keep_from_us(self._now_us(), self._keep_days)
                done = writer.thin(before_us, self._asked_to_stop.is_set)
            except HistoryFault as fault:
                log.warning("%s; old rows stay as they are until the next round", fault)
                continue
            if done.weeks:
                log.info("%s: %d rows became %d", site, done.rows_before, done.rows_after)
