"""The sensors heard without a break, so that what is measured is always what they give now."""

from __future__ import annotations

import threading
from collections.abc import Callable

from edge.clock import Clock, steady_s
from edge.daemon.faults import SourceSilent
from edge.daemon.sources import Source
from edge.samples import SampleBlock, SourceItem, StreamEnd, TimeAnchor

SETTLE_S = 1.0
"""Signal left out before a measurement of live sensors: it may have been on its way already."""

TURN_S = 0.05
"""Between two looks at whether a source is silent."""


class Gathering:
    """Items of so many seconds, gathered by the listening thread."""

    def __init__(self, rows: int, settle: int, anchor: TimeAnchor | None) -> None:
        self.items: list[SourceItem] = [] if anchor is None else [anchor]
        self._rows, self._settle = rows, settle
        self.full = threading.Event()

    def take(self, item: SourceItem) -> None:
        if isinstance(item, SampleBlock):
            if self._settle > 0:
                self._settle -= len(item.samples)
                return
            self._rows -= len(item.samples)
        self.items.append(item)
        if self._rows <= 0:
            self.full.set()


class Listener:
    """Reads a source from `start` to `close`. A live one is read whether anybody gathers or not; a
    stored one waits, for it would be over before anybody asked."""

    def __init__(self, source: Source, clock: Clock, tell_to_stop: Callable[[], None]) -> None:
        self.source, self._clock, self._tell_to_stop = source, clock, tell_to_stop
        self._wanted: Gathering | None = None
        self._anchor: TimeAnchor | None = None
        self._changed = threading.Condition()
        self._closing = False
        self.ended = ""
        self._heard_s = steady_s()
        self._thread = threading.Thread(target=self._run, name="listening", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Ends the thread and lets go of the source."""
        self._tell_to_stop()
        with self._changed:
            self._closing = True
            self._changed.notify_all()
        self._thread.join()
        self.source.close()

    def gathered(self, signal_s: float, wait_s: float) -> list[SourceItem]:
        """So many seconds of what comes from now on. Raises SourceSilent with the reason."""
        rate_hz = self.source.description.rate_hz
        settle = round(SETTLE_S * rate_hz) if self.source.is_live else 0
        with self._changed:
            wanted = Gathering(round(signal_s * rate_hz), settle, self._anchor)
            self._wanted = wanted
            self._changed.notify_all()
        until_s = steady_s() + wait_s
        while not wanted.full.wait(TURN_S):
            if self.ended or steady_s() > until_s:
                why = self.ended or self.source.silence() or "fewer samples come than are said to"
                raise SourceSilent(f"no measurement: {why}")
        return wanted.items

    @property
    def quiet_s(self) -> float:
        """Since the last samples came."""
        return steady_s() - self._heard_s

    def _run(self) -> None:
        try:
            for item in self.source.items(self._clock.utc_us()):
                if self._closing or not self._hand_on(item):
                    return
            self.ended = self.ended or "the source has ended"
        except OSError as fault:
            self.ended = str(fault)

    def _hand_on(self, item: SourceItem) -> bool:
        with self._changed:
            while self._is_kept_waiting() and not self.source.is_live:
                if self._closing:
                    return False
                self._changed.wait()
            if isinstance(item, SampleBlock):
                self._heard_s = steady_s()
            if isinstance(item, TimeAnchor):
                self._anchor = item
            if isinstance(item, StreamEnd) and not self.source.is_live:
                self.ended = item.reason
            if self._wanted is not None and not self._wanted.full.is_set():
                self._wanted.take(item)
        return True

    def _is_kept_waiting(self) -> bool:
        return self._wanted is None or self._wanted.full.is_set()
