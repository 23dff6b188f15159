"""The weather station beside the samples: a thread that asks it, and its readings in the stream.

A reading goes into the stream once a minute, a little after the minute began, as the rows of
weather want it. Rain that a station counts up is the growth since the reading before; what fell
while the station or the daemon was away is not told, for nobody knows when it fell.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from edge.daemon.heartbeat import MINUTE_US
from edge.pipeline import WEATHER_NAMES
from edge.samples import SampleBlock, SlowReading, SourceItem
from edge.sense.weather import Reading, Station, StationFault

log = logging.getLogger("seafret.edge")

SETTLE_US = 1_000_000
"""A minute's reading is told this long after it began, so that two clocks that differ by less agree
on the minute."""

STALE_MINUTES = 3
"""A station that has not answered for so many minutes is silent; what it said before is no news."""


@dataclass(frozen=True, slots=True)
class Sky:
    """now: the newest reading. heard_us: when. totals: of counters, at the last reading.

    grown: what they grew by and nobody has been told yet. asked, failed: readings tried so far.
    """

    now: Mapping[str, int] = field(default_factory=dict)
    heard_us: int = 0
    totals: Mapping[str, int] = field(default_factory=dict)
    grown: Mapping[str, int] = field(default_factory=dict)
    asked: int = 0
    failed: int = 0


def heard(sky: Sky, reading: Reading, at_us: int) -> Sky:
    """With a reading. A counter that fell has begun anew: its growth is not known, and not told."""
    grown = dict(sky.grown)
    for name, total in reading.totals.items():
        growth = total - sky.totals.get(name, total)
        grown[name] = grown.get(name, 0) + max(0, growth)
    return replace(
        sky,
        now=reading.now,
        heard_us=at_us,
        totals={**sky.totals, **reading.totals},
        grown=grown,
        asked=sky.asked + 1,
    )


def missed(sky: Sky) -> Sky:
    """With a reading that did not come; growth over the hole would have no minute."""
    return replace(sky, asked=sky.asked + 1, failed=sky.failed + 1, totals={})


def told(sky: Sky, now_us: int) -> tuple[Sky, dict[str, int]]:
    """What is to be told now; nothing where the reading is old."""
    if not sky.heard_us or now_us - sky.heard_us > STALE_MINUTES * MINUTE_US:
        return sky, {}
    return replace(sky, grown=dict.fromkeys(sky.grown, 0)), {**sky.now, **sky.grown}


class AirWatch:
    """Asks a station every so often, from the first item on until `close`. Counters may be read
    from any thread. now_us: the clock."""

    def __init__(self, station: Station, every_s: float, now_us: Callable[[], int]) -> None:
        self._station, self._every_s, self._now_us = station, every_s, now_us
        self._sky, self._lock = Sky(), threading.Lock()
        self._fault = ""
        self._closed = threading.Event()
        self._thread = threading.Thread(target=self._run, name="weather", daemon=True)

    def close(self) -> None:
        """Ends the thread within a reading, and lets go of the station."""
        self._closed.set()
        if self._thread.is_alive():
            self._thread.join()
        self._station.close()

    def counters(self) -> dict[str, int]:
        """For the health record."""
        return {"weather_asked": self._sky.asked, "weather_failed": self._sky.failed}

    def _run(self) -> None:
        while not self._closed.is_set():
            self._ask()
            self._closed.wait(self._every_s)

    def _ask(self) -> None:
        try:
            reading = self._station.read()
        except StationFault as fault:
            with self._lock:
                self._sky = missed(self._sky)
            self._say(str(fault))
            return
        with self._lock:
            self._sky = heard(self._sky, reading, self._now_us())
        self._say("")

    def _say(self, fault: str) -> None:
        """Once for each change, so that the journal stays readable."""
        if fault and fault != self._fault:
            log.warning("weather: %s", fault)
        elif self._fault and not fault:
            log.info("weather: the station answers again")
        self._fault = fault

    def take(self) -> dict[str, int]:
        """What is to be told now."""
        with self._lock:
            self._sky, readings = told(self._sky, self._now_us())
        return readings

    def beside(self, items: Iterable[SourceItem]) -> Iterator[SourceItem]:
        """The source's items with the station's readings once a minute, and no other weather."""
        minute = -1
        self._thread.start()
        for item in items:
            if isinstance(item, SlowReading):
                kept = {n: v for n, v in item.readings.items() if n not in WEATHER_NAMES}
                if kept:
                    yield SlowReading(item.counter, kept)
                continue
            yield item
            now = (self._now_us() - SETTLE_US) // MINUTE_US
            if isinstance(item, SampleBlock) and now != minute and (readings := self.take()):
                minute = now
                yield SlowReading(item.counter_end, readings)
