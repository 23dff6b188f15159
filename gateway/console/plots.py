"""The console's plots: sparkline, strip, trend. Pure; shapes tell what colours tell besides."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from edge.quantities import STATES, State
from gateway.console.binning import Bins, runs
from gateway.console.drawing import (
    Axis,
    band_path,
    bars,
    blocks,
    label,
    level,
    line_path,
    nice_top,
    number,
    scale_left,
    svg,
    tag,
    time_ticks,
)
from gateway.console.words import Times
from gateway.trends.columns import Bools, Floats, Period

LEAST_TOP_MA = 1.0
"""An axis of current reaches at least so far, so that noise does not look like a storm."""

SPARK_WIDTH, SPARK_HEIGHT = 150, 34
STRIP_WIDTH, STRIP_HEIGHT = 760, 58
TREND_WIDTH, TREND_HEIGHT = 1000, 392
LEFT, RIGHT = 56, 26


@dataclass(frozen=True, slots=True)
class Ground:
    """The time axis that the panels of one drawing share."""

    period: Period
    times: Times
    left: float
    right: float

    def x(self, bins: Bins) -> Floats:
        """Middles of the columns."""
        return self.along.at((bins.start_us + bins.width_us // 2).astype(np.float64))

    @property
    def along(self) -> Axis:
        """The axis."""
        return Axis(self.period.from_us, self.period.to_us, self.left, self.right)

    def half(self, bins: Bins) -> float:
        """Half the width of a column."""
        return (self.right - self.left) / max(len(bins.start_us), 1) / 2

    def ticks(self, top: float, bottom: float, words: bool = True) -> Iterator[str]:
        """Lines down, and the times under them, the date where a day begins."""
        middle_us = (self.period.from_us + self.period.to_us) // 2
        offset_us = self.times.offset_us(middle_us)
        for at_us in time_ticks(self.period.from_us, self.period.to_us, offset_us):
            x = float(self.along.at(at_us))
            if not self.left <= x <= self.right:
                continue
            yield tag("path", d=f"M{x:.1f} {top:g}V{bottom:g}", class_="grid")
            if words:
                yield label(x, bottom + 14, tick_word(self.times, at_us))


def sparkline(bins: Bins, limit_ma: float) -> str:
    """Two hours of peak current, the limit as a dashed line; no numbers: the words stand beside."""
    top = nice_top(_highest(bins, limit_ma * 1.1), LEAST_TOP_MA)
    up = Axis(0, top, SPARK_HEIGHT - 2, 3)
    ground = Axis(0, len(bins.start_us), 1, SPARK_WIDTH - 1)
    x = ground.at(np.arange(len(bins.start_us), dtype=np.float64) + 0.5)
    half = (SPARK_WIDTH - 2) / max(len(bins.start_us), 1) / 2
    parts = [
        blocks(x, ~bins.known, half, 1, SPARK_HEIGHT - 2, "gap"),
        band_path(x, up.at(bins.low), up.at(bins.high), half, "band"),
        line_path(x, up.at(bins.high), "high"),
        level(up, limit_ma, 1, SPARK_WIDTH - 1, "", "limit"),
    ]
    return svg(SPARK_WIDTH, SPARK_HEIGHT, parts, "peak current of the last two hours", "spark")


def strip(bins: Bins, top_ma: float, limit_ma: float, period: Period, times: Times) -> str:
    """One insulator among its siblings: all strips of a page share both axes."""
    ground = Ground(period, times, 0, STRIP_WIDTH)
    up = Axis(0, top_ma, STRIP_HEIGHT - 10, 3)
    x, half = ground.x(bins), ground.half(bins)
    bottom = STRIP_HEIGHT - 9
    parts = [
        *ground.ticks(0, bottom, words=False),
        blocks(x, ~bins.known, half, 1, bottom - 1, "gap"),
        band_path(x, up.at(bins.low), up.at(bins.high), half, "band"),
        line_path(x, up.at(bins.middle), "middle"),
        level(up, limit_ma, 0, STRIP_WIDTH, "", "limit"),
        *state_ribbon(x, half, bins, bottom + 2, 7),
    ]
    return svg(
        STRIP_WIDTH, STRIP_HEIGHT, parts, "peak current and state of the surface", "thin", True
    )


def humidity_strip(found: Floats, bins: Bins, period: Period, times: Times) -> str:
    """The site's humidity on the strips' time axis, which it names."""
    ground = Ground(period, times, 0, STRIP_WIDTH)
    up = Axis(30, 100, 36, 3)
    x, half = ground.x(bins), ground.half(bins)
    parts = [
        *ground.ticks(0, 38, words=False),
        blocks(x, ~np.isfinite(found), half, 1, 37, "gap"),
        line_path(x, up.at(found), "humid"),
        level(up, 90.0, 0, STRIP_WIDTH, "", "mark"),
    ]
    title = "relative humidity, from 30 to 100 %; mark at 90 %"
    return svg(STRIP_WIDTH, 40, parts, title, "thin low", stretched=True)


def time_axis(period: Period, times: Times) -> str:
    """Times under strips, in shares of their width: strips are stretched, words must not be."""
    offset_us = times.offset_us((period.from_us + period.to_us) // 2)
    words = [
        (100 * (at_us - period.from_us) / (period.to_us - period.from_us), tick_word(times, at_us))
        for at_us in time_ticks(period.from_us, period.to_us, offset_us)
    ]
    return tag(
        "svg",
        "".join(
            tag("text", word, x=f"{share:.2f}%", y=11, class_="tick", text_anchor="middle")
            for share, word in words
            if 3 < share < 97
        ),
        class_="axis",
        width="100%",
        height=14,
        aria_hidden="true",
    )


def tick_word(times: Times, at_us: int) -> str:
    """The clock, or the date where a day begins."""
    local = times.local(at_us)
    if (local.hour, local.minute) == (0, 0):
        return f"{local.day} {local:%b}"
    return f"{local:%H:%M}"


def state_ribbon(x: Floats, half: float, bins: Bins, y: float, height: float) -> Iterator[str]:
    """Wet, arcing and de-energised as blocks of different height; dry is drawn as nothing."""
    heights = {State.WET: 0.35, State.ARCING_SPARSE: 0.7, State.ARCING_DENSE: 1.0}
    for place, state in enumerate(STATES):
        if state in heights:
            tall = height * heights[state]
            yield blocks(x, bins.state == place, half, y + height - tall, tall, f"is-{state.value}")
        elif state is State.DE_ENERGISED:
            yield blocks(x, bins.state == place, half, y + height - 1.5, 1.5, "is-off")


def trend_plot(
    bins: Bins, humid: Floats, limit_ma: float, arcs_limit: float, period: Period, times: Times
) -> str:
    """Three panels on one time axis: current with its band, arcing half-cycles, humidity."""
    ground = Ground(period, times, LEFT, TREND_WIDTH - RIGHT)
    parts: list[str] = []
    for panel in (
        _current_panel(ground, bins, limit_ma),
        _arcs_panel(ground, bins, arcs_limit),
        _humidity_panel(ground, bins, humid),
    ):
        parts += panel
    marks = tag("path", d="", class_="cursor")
    title = "peak current with its band, arcing half-cycles a minute, humidity, over time"
    return svg(TREND_WIDTH, TREND_HEIGHT, [*parts, marks], title, "plot trend")


def _current_panel(ground: Ground, bins: Bins, limit_ma: float) -> list[str]:
    top, bottom = 18, 178
    up = Axis(0, nice_top(_highest(bins, limit_ma * 1.05), LEAST_TOP_MA), bottom, top)
    x, half = ground.x(bins), ground.half(bins)
    return [
        scale_left(up, ground.left, ground.right),
        *ground.ticks(top, bottom, words=False),
        blocks(x, ~bins.known, half, top, bottom - top, "gap"),
        band_path(x, up.at(bins.low), up.at(bins.high), half, "band"),
        line_path(x, up.at(bins.high), "high"),
        line_path(x, up.at(bins.middle), "middle"),
        line_path(x, up.at(bins.rms), "rms"),
        level(up, limit_ma, ground.left, ground.right, f"limit {number(limit_ma)} mA", "limit"),
        *state_ribbon(x, half, bins, bottom + 3, 10),
        label(ground.left, top - 6, "current, mA", "caption", "start"),
        label(ground.left - 5, bottom + 12, "surface", "side", "end"),
    ]


def _arcs_panel(ground: Ground, bins: Bins, limit: float) -> list[str]:
    """The limit is said in the caption: beside its line the bars would stand behind the word."""
    top, bottom = 216, 284
    said = f"arcing half-cycles a minute; dashed: limit {number(limit)}"
    up = Axis(0, nice_top(_most(bins.arcs), 2 * limit), bottom, top)
    x = ground.x(bins)
    return [
        scale_left(up, ground.left, ground.right, 2),
        *ground.ticks(top, bottom, words=False),
        blocks(x, ~np.isfinite(bins.arcs), ground.half(bins), top, bottom - top, "gap"),
        bars(x, up.at(bins.arcs), bottom, ground.half(bins), "arcs"),
        level(up, limit, ground.left, ground.right, "", "limit"),
        label(ground.left, top - 6, said, "caption", "start"),
    ]


def _humidity_panel(ground: Ground, bins: Bins, humid: Floats) -> list[str]:
    top, bottom = 316, 368
    up = Axis(20, 100, bottom, top)
    x = ground.x(bins)
    return [
        scale_left(up, ground.left, ground.right, 2),
        *ground.ticks(top, bottom),
        blocks(x, ~np.isfinite(humid), ground.half(bins), top, bottom - top, "gap"),
        line_path(x, up.at(humid), "humid"),
        label(ground.left, top - 6, "relative humidity, %", "caption", "start"),
    ]


def _highest(bins: Bins, least: float) -> float:
    return max(_most(bins.high), least)


def _most(found: Floats) -> float:
    known = found[np.isfinite(found)]
    return float(known.max()) if known.size else 0.0


def gap_count(known: Bools) -> int:
    """Gaps that a reader of the table should know of."""
    return len(runs(~known))


def common_top(all_bins: Sequence[Bins], limit_ma: float) -> float:
    """One end of the axis for all strips of a page."""
    return nice_top(max((_highest(one, 0.0) for one in all_bins), default=0.0), limit_ma * 0.2)
