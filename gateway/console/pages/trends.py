"""Drawings that pages of the present show: sparklines of alarms, strips of a site."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass

from markupsafe import Markup

from gateway.alarms.states import Shown
from gateway.console.alarm_rows import Row, trend_word
from gateway.console.binning import Bins
from gateway.console.drawing import number
from gateway.console.limit_lines import LimitsOf
from gateway.console.plots import common_top, humidity_strip, sparkline, strip, time_axis
from gateway.console.reading_rows import bins_of, humidity_of, rows_of
from gateway.console.sources import Sources
from gateway.console.words import Times
from gateway.history.store import HistoryFault
from gateway.trends.columns import HOUR_US, Floats, Period

SPARK_US, SPARK_COLUMNS = 2 * HOUR_US, 60
STRIP_COLUMNS = 190
KEPT_SPARKS_MAX = 400
"""So many sparklines are remembered; each is drawn anew when its minute is over."""

MINUTE_US = 60_000_000


@dataclass(frozen=True, slots=True)
class Spark:
    """A drawing, and in a word which way it goes."""

    svg: Markup
    way: str


NO_SPARK = Spark(Markup(""), "")


class Sparks:
    """Two hours before now of an alarm's insulator; made once a minute for all who look."""

    def __init__(self, sources: Sources, limits_of: LimitsOf) -> None:
        self._sources = sources
        self._limits_of = limits_of
        self._kept: OrderedDict[tuple[str, str, int], Spark] = OrderedDict()

    def of(self, row: Row) -> Spark:
        """The drawing of one alarm; none for what is no insulator's, or cannot be read now."""
        if not row.spoken_for or row.told.shown is Shown.OUT_OF_SERVICE:
            return NO_SPARK
        minute = self._sources.now_us() // MINUTE_US
        key = (row.told.site, row.spoken_for, minute)
        found = self._kept.get(key)
        if found is None:
            found = self._drawn(row.told.site, row.spoken_for, (minute + 1) * MINUTE_US)
            self._kept[key] = found
            while len(self._kept) > KEPT_SPARKS_MAX:
                self._kept.popitem(last=False)
        return found

    def _drawn(self, site: str, insulator: str, end_us: int) -> Spark:
        period = Period(max(0, end_us - SPARK_US), end_us)
        try:
            with rows_of(self._sources, site) as rows:
                if rows is None:
                    return NO_SPARK
                bins = bins_of(rows, insulator, period, SPARK_COLUMNS)
        except HistoryFault:
            return NO_SPARK  # the strip says that the history cannot be read
        if not bins.known.any():
            return NO_SPARK
        limit_ma = self._limits_of(site, insulator).margin_ma
        return Spark(Markup(sparkline(bins, limit_ma)), trend_word(bins.high.tolist()))


@dataclass(frozen=True, slots=True)
class Strips:
    """The strips of a site's page: humidity first, then each insulator's by name."""

    humidity: Markup
    of: dict[str, Markup]
    axis: Markup
    top: str


NO_STRIPS = Strips(Markup(""), {}, Markup(""), "")


def site_strips(
    sources: Sources,
    site: str,
    insulators: list[str],
    hours: int,
    times: Times,
    limits_of: LimitsOf,
) -> Strips:
    """All strips share the time axis and the current axis."""
    period = Period(times.now_us - hours * HOUR_US, times.now_us)
    try:
        with rows_of(sources, site) as rows:
            if rows is None:
                return NO_STRIPS
            bins = {one: bins_of(rows, one, period, STRIP_COLUMNS) for one in insulators}
            humid = humidity_of(rows, period, STRIP_COLUMNS)
    except HistoryFault:
        return NO_STRIPS
    limits_ma = {one: limits_of(site, one).margin_ma for one in insulators}
    return _strips(bins, limits_ma, humid, period, times)


def _strips(
    bins: dict[str, Bins],
    limits_ma: dict[str, float],
    humid: Floats,
    period: Period,
    times: Times,
) -> Strips:
    if not bins:
        return NO_STRIPS
    top_ma = common_top(list(bins.values()), max(limits_ma.values()))
    drawn = {
        name: Markup(strip(one, top_ma, limits_ma[name], period, times))
        for name, one in bins.items()
    }
    first = next(iter(bins.values()))
    humidity = Markup(humidity_strip(humid, first, period, times))
    return Strips(humidity, drawn, Markup(time_axis(period, times)), f"{number(top_ma)} mA")
