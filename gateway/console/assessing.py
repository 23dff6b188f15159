"""What the history says of each surface, worked out beside the console and remembered.

Comparing two periods of a whole site takes seconds to minutes, so a page never waits for it: it
shows what is there, says of when it is, and hears when there is more.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from edge.wire import Refused
from gateway.console.reading_rows import rows_of
from gateway.console.sources import Sources
from gateway.history.store import HistoryFault
from gateway.reading.question import Question, answered, asked
from gateway.trends.change import InsulatorTrend, SiteTrend
from gateway.trends.columns import WeatherColumns
from gateway.trends.evidence import Site, on_grid

log = logging.getLogger("seafret.console")

GOOD_FOR_S = 6 * 3600.0
"""An assessment older than this is worked out anew when somebody looks."""

AGAIN_S = 60.0
"""One that could not be made is not tried again before."""


@dataclass(frozen=True, slots=True, eq=False)
class Assessment:
    """trend: None where it could not be made; why says so. site: the hours it rests on."""

    at_us: int
    trend: SiteTrend | None
    site: Site | None
    why: str
    until_s: float

    def of(self, insulator: str) -> InsulatorTrend | None:
        """What is said of one insulator."""
        found = self.trend.insulators if self.trend is not None else ()
        return next((one for one in found if one.insulator == insulator), None)


class Assessments:
    """One site at a time is worked out, in a thread of its own."""

    def __init__(self, sources: Sources, steady_s: Callable[[], float] = time.monotonic) -> None:
        self._sources = sources
        self._steady_s = steady_s
        self._one_at_a_time = threading.Lock()
        self._held: dict[str, Assessment] = {}
        self._wanted: set[str] = set()
        self._working = threading.Lock()

    def of(self, site: str) -> Assessment | None:
        """What is there now; where it is old or missing, work on it begins."""
        with self._one_at_a_time:
            held = self._held.get(site)
            old = held is None or self._steady_s() > held.until_s
            if old and site not in self._wanted:
                self._wanted.add(site)
                threading.Thread(
                    target=self._work, args=(site,), name=f"assess {site}", daemon=True
                ).start()
        return held

    def _work(self, site: str) -> None:
        with self._working:
            try:
                found = self._assess(site)
            except (HistoryFault, Refused, OSError) as fault:
                found = self._nothing(str(fault))
        with self._one_at_a_time:
            self._held[site] = found
            self._wanted.discard(site)
        self._sources.feed.touch([f"assessed:{site}"])

    def _nothing(self, why: str) -> Assessment:
        until_s = self._steady_s() + AGAIN_S
        return Assessment(self._sources.now_us(), None, None, why, until_s)

    def _assess(self, site: str) -> Assessment:
        with rows_of(self._sources, site) as rows:
            if rows is None:
                return self._nothing("the site has no history yet")
            question = asked(rows, site, self._register(site), None, None)
            trend, grid = answered(question), _grid(question)
        until_s = self._steady_s() + GOOD_FOR_S / max(self._sources.rate, 1.0)
        return Assessment(self._sources.now_us(), trend, grid, "", until_s)

    def _register(self, site: str) -> Path | None:
        path = self._sources.data / f"{site}.register.toml"
        return path if path.exists() else None


def _grid(question: Question) -> Site | None:
    weather: WeatherColumns | None = question.weather()
    if weather is None:
        return None
    return on_grid(question.columns(), weather, question.reference, question.now, question.span)
