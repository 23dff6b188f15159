"""A frame with two scales, and marks put down in the scales' units."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from gateway.report.marks import (
    FAINT,
    INK,
    MUTED,
    PALE,
    Area,
    Dots,
    Drawing,
    Line,
    Mark,
    Point,
    Words,
)
from gateway.trends.columns import DAY_US, Floats, Ints

LEFT, RIGHT, TOP, BOTTOM = 30.0, 6.0, 13.0, 20.0
TICK_SIZE = 6.0


@dataclass(frozen=True, slots=True)
class Scale:
    """low, high: ends. log: logarithmic. ticks: (place, label)."""

    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]
    log: bool = False

    def share(self, at: Floats) -> Floats:
        """How far along the scale, 0 to 1; clipped to its ends."""
        if self.log:
            low, high = np.log(self.low), np.log(self.high)
            along = (np.log(np.maximum(at, 1e-12)) - low) / (high - low)
        else:
            along = (at - self.low) / (self.high - self.low)
        return np.asarray(np.clip(along, 0.0, 1.0))


def linear(low: float, high: float, count: int = 5) -> Scale:
    """Round ticks from `low` up to at least `high`."""
    span = max(high - low, 1e-9)
    raw = span / max(count - 1, 1)
    power = 10.0 ** np.floor(np.log10(raw))
    step = float(power * min((one for one in (1, 2, 2.5, 5, 10) if one * power >= raw), default=10))
    first = np.floor(low / step) * step
    places = np.arange(first, high + 0.999 * step, step)
    return Scale(
        float(places[0]),
        float(places[-1]),
        tuple((float(p), number_text(float(p))) for p in places),
    )


def logarithmic(low: float, high: float) -> Scale:
    """Whole decades around both ends, at least one."""
    first = int(np.floor(np.log10(max(low, 1e-6))))
    last = max(int(np.ceil(np.log10(max(high, 1e-6)))), first + 1)
    between = (1.0, 2.0, 5.0) if last - first == 1 else (1.0,)
    places = [10.0**one * by for one in range(first, last + 1) for by in between]
    ticks = tuple((one, number_text(one)) for one in places if one <= 10.0**last * 1.001)
    return Scale(10.0**first, 10.0**last, ticks, log=True)


def time_scale(from_us: int, to_us: int) -> Scale:
    """UTC; a tick at each month, or at some days where it is short."""
    days = (to_us - from_us) / DAY_US
    if days > 70:
        unit, every = "M", max(1, round(days / 30.4 / 8))
    else:
        unit, every = "D", max(1, round(days / 7))
    edges = np.arange(
        np.datetime64(from_us, "us").astype(f"datetime64[{unit}]"),
        np.datetime64(to_us, "us").astype(f"datetime64[{unit}]") + 1,
    )
    if unit == "M":
        edges = edges[(edges.astype(np.int64) % every) == 0]
    else:
        edges = edges[::every]
    at = edges.astype("datetime64[us]").astype(np.int64)
    inside = (at >= from_us) & (at <= to_us)
    labels = [str(one) if unit == "M" else str(one)[5:] for one in edges]
    ticks = [(float(a), text) for a, text, kept in zip(at, labels, inside, strict=True) if kept]
    return Scale(float(from_us), float(to_us), tuple(ticks))


def number_text(number: float) -> str:
    """Short, without an exponent where it can be."""
    size = abs(number)
    if size >= 1e6 or 0 < size < 1e-3:
        return f"{number:.0e}".replace("e+0", "e").replace("e-0", "e-")
    return f"{number:.0f}" if size >= 100 or number == round(number) else f"{number:g}"


@dataclass(slots=True)
class Frame:
    """Filled mark by mark, then `drawing`."""

    width: float
    height: float
    x: Scale
    y: Scale
    title: str = ""
    x_label: str = ""
    y_label: str = ""
    marks: list[Mark] = field(default_factory=list)

    def places(self, x: Floats, y: Floats) -> tuple[Point, ...]:
        """Points of the drawing."""
        across = LEFT + self.x.share(np.asarray(x, np.float64)) * (self.width - LEFT - RIGHT)
        down = TOP + (1.0 - self.y.share(np.asarray(y, np.float64))) * (self.height - TOP - BOTTOM)
        return tuple(zip(across.tolist(), down.tolist(), strict=True))

    def line(self, x: Floats, y: Floats, colour: str = INK, width: float = 0.9,
             dash: tuple[float, ...] = ()) -> None:  # fmt: skip
        """A line; breaks where y is not finite."""
        finite = np.isfinite(y)
        edges = np.flatnonzero(np.diff(np.concatenate(([0], finite.astype(np.int8), [0]))))
        for first, after in zip(edges[::2], edges[1::2], strict=True):
            if after - first > 1:
                points = self.places(x[first:after], y[first:after])
                self.marks.append(Line(points, colour, width, dash))

    def dots(self, x: Floats, y: Floats, colour: str = INK, radius: float = 0.8,
             shape: str = "dot") -> None:  # fmt: skip
        """Marks at finite places."""
        kept = np.isfinite(x) & np.isfinite(y)
        self.marks.append(Dots(self.places(x[kept], y[kept]), colour, radius, shape))  # type: ignore[arg-type]

    def bars(self, from_x: Floats, to_x: Floats, y: Floats, colour: str) -> None:
        """Standing on the lower edge."""
        for left, right, top in zip(from_x, to_x, y, strict=True):
            if np.isfinite(top) and top > self.y.low:
                corner = self.places(np.array([left, right]), np.array([top, top]))
                floor = self.height - BOTTOM
                ends = ((corner[1][0], floor), (corner[0][0], floor))
                self.marks.append(Area((*corner, *ends), colour))

    def band(self, x: Floats, low: Floats, high: Floats, colour: str = PALE) -> None:
        """Between two lines; nothing where either is not finite."""
        kept = np.isfinite(low) & np.isfinite(high)
        if int(kept.sum()) > 1:
            there = self.places(x[kept], high[kept])
            back = self.places(x[kept], low[kept])[::-1]
            self.marks.append(Area((*there, *back), colour))

    def whiskers(self, x: Floats, low: Floats, high: Floats, colour: str = INK) -> None:
        """Intervals."""
        for one, under, over in zip(x, low, high, strict=True):
            if np.isfinite(under) and np.isfinite(over):
                ends = self.places(np.array([one, one]), np.array([under, over]))
                self.marks.append(Line(ends, colour, 0.8))

    def level(self, y: float, text: str, colour: str) -> None:
        """A dashed line across with its name."""
        across = self.places(np.array([self.x.low, self.x.high]), np.array([y, y]))
        self.marks.append(Line(across, colour, 0.8, (3.0, 2.0)))
        self.marks.append(Words((across[1][0], across[1][1] - 2.0), text, TICK_SIZE, colour, "end"))

    def say(self, text: str) -> None:
        """In the middle, where there is nothing to draw."""
        self.marks.append(Words((self.width / 2, self.height / 2), text, 6.5, MUTED, "middle"))

    def drawing(self) -> Drawing:
        """Frame, grid and labels under the marks."""
        under: list[Mark] = [*self._grid()]
        labels: list[Mark] = [Words((0.0, 7.0), self.title, 7.0, INK, bold=True)]
        if self.y_label:
            labels.append(Words((self.width - RIGHT, 7.0), self.y_label, 6.0, MUTED, "end"))
        if self.x_label:
            labels.append(
                Words((self.width - RIGHT, self.height - 2.0), self.x_label, 6.0, MUTED, "end")
            )
        return Drawing(self.width, self.height, (*under, *self.marks, *labels))

    def _grid(self) -> list[Mark]:
        marks: list[Mark] = []
        bottom = self.height - BOTTOM
        for place, text in self.y.ticks:
            (_, y), = self.places(np.array([self.x.low]), np.array([place]))  # fmt: skip
            marks.append(Line(((LEFT, y), (self.width - RIGHT, y)), PALE, 0.5))
            marks.append(Words((LEFT - 3.0, y + 2.0), text, TICK_SIZE, MUTED, "end"))
        for place, text in self.x.ticks:
            (x, _), = self.places(np.array([place]), np.array([self.y.low]))  # fmt: skip
            marks.append(Line(((x, bottom), (x, bottom + 2.5)), FAINT, 0.5))
            marks.append(Words((x, bottom + 9.0), text, TICK_SIZE, MUTED, "middle"))
        marks.append(Line(((LEFT, bottom), (self.width - RIGHT, bottom)), FAINT, 0.6))
        return marks


def thin(count: int, most: int) -> Ints:
    """Places of at most `most` of `count` points, spread evenly."""
    every = max(1, -(-count // most))
    return np.arange(0, count, every, dtype=np.int64)


def micros(hours: npt.ArrayLike) -> Floats:
    """Microseconds of hours since 1970."""
    return np.asarray(hours, np.float64) * 3_600_000_000.0
