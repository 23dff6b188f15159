"""Small drawings as SVG text: axes, bands, lines, bars, hatched gaps. Pure.

Colours and widths are classes of the style sheet, so that day, night, print and a person's own
contrast settings need no second drawing. Every number is rounded to a tenth of a unit: finer than
any display, and short to send.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from gateway.console.binning import runs
from gateway.trends.columns import Bools, Floats


@dataclass(frozen=True, slots=True)
class Axis:
    """From the quantity to the drawing. low, high: of the quantity. first, last: where they lie.
    log: by decades."""

    low: float
    high: float
    first: float
    last: float
    log: bool = False

    def at(self, found: Floats | float) -> Floats:
        """Where it lies; NaN stays NaN, what is beyond the ends lies at them."""
        held = np.clip(np.asarray(found, np.float64), self.low, self.high)
        if self.log:
            share = np.log(held / self.low) / math.log(self.high / self.low)
        else:
            share = (held - self.low) / (self.high - self.low)
        return np.asarray(self.first + share * (self.last - self.first))

    def ticks(self, about: int = 4) -> list[float]:
        """Round places, a few."""
        if self.log:
            low, high = math.ceil(math.log10(self.low)), math.floor(math.log10(self.high))
            return [10.0**power for power in range(low, high + 1)]
        rough = (self.high - self.low) / max(about, 1)
        power = 10.0 ** math.floor(math.log10(rough))
        step = next(power * k for k in (1, 2, 2.5, 5, 10) if power * k >= rough)
        first = math.ceil(self.low / step - 1e-9)
        return [k * step for k in range(first, math.floor(self.high / step + 1e-9) + 1)]


def nice_top(highest: float, least: float) -> float:
    """A round end of an axis above the highest."""
    top = max(highest, least)
    power = 10.0 ** math.floor(math.log10(top))
    return next(power * k for k in (1, 1.5, 2, 3, 4, 5, 6, 8, 10) if power * k >= top)


def number(found: float) -> str:
    """Three significant digits, without an exponent."""
    if not math.isfinite(found):
        return ""
    if found == 0:
        return "0"
    places = max(0, 2 - math.floor(math.log10(abs(found))))
    text = f"{found:.{min(places, 6)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def tag(name: str, inside: str = "", **attributes: object) -> str:
    """One element; `class_` is written as class, `_` in names as `-`."""
    told = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(str(held))}"'
        for key, held in attributes.items()
    )
    return f"<{name}{told}>{inside}</{name}>" if inside else f"<{name}{told}/>"


def label(x: float, y: float, text: str, kind: str = "tick", anchor: str = "middle") -> str:
    """A text."""
    return tag("text", escape(text), x=_r(x), y=_r(y), class_=kind, text_anchor=anchor)


def line_path(x: Floats, y: Floats, kind: str) -> str:
    """A line that is broken where nothing is known; a single point is a short stroke."""
    parts = []
    for first, after in runs(np.isfinite(y)):
        points = " ".join(
            f"{_r(a)} {_r(b)}" for a, b in zip(x[first:after], y[first:after], strict=True)
        )
        single = "h1" if after - first == 1 else ""
        parts.append(f"M{points}{single}")
    return tag("path", d="".join(parts), class_=kind) if parts else ""


def band_path(x: Floats, low: Floats, high: Floats, half: float, kind: str) -> str:
    """The area between two lines; `half` a column wide at each end, so that one column is seen."""
    parts = []
    for first, after in runs(np.isfinite(low) & np.isfinite(high)):
        xs, up, down = x[first:after], high[first:after], low[first:after]
        there = [(xs[0] - half, up[0]), *zip(xs, up, strict=True), (xs[-1] + half, up[-1])]
        back = [(xs[-1] + half, down[-1]), *zip(xs[::-1], down[::-1], strict=True)]
        back.append((xs[0] - half, down[0]))
        parts.append("M" + " ".join(f"{_r(a)} {_r(b)}" for a, b in (*there, *back)) + "Z")
    return tag("path", d="".join(parts), class_=kind) if parts else ""


def bars(x: Floats, top: Floats, base: float, half: float, kind: str) -> str:
    """One bar a column, as one path."""
    tall = np.flatnonzero(np.isfinite(top) & (top < base - 0.05))
    parts = [
        f"M{_r(x[k] - half)} {_r(base)}V{_r(top[k])}h{_r(2 * half)}V{_r(base)}Z"
        for k in tall.tolist()
    ]
    return tag("path", d="".join(parts), class_=kind) if parts else ""


def blocks(x: Floats, chosen: Bools, half: float, y: float, height: float, kind: str) -> str:
    """Runs of columns as blocks."""
    return "".join(
        tag(
            "rect", x=_r(x[first] - half), y=_r(y), height=_r(height), class_=kind,
            width=_r(x[after - 1] - x[first] + 2 * half),
        )
        for first, after in runs(chosen)
    )  # fmt: skip


def level(axis: Axis, found: float, first: float, last: float, text: str, kind: str) -> str:
    """A limit across the drawing, with its word, if any, at the right end."""
    if not axis.low <= found <= axis.high:
        return ""
    y = float(axis.at(found))
    stroke = tag("path", d=f"M{_r(first)} {_r(y)}H{_r(last)}", class_=kind)
    return stroke + (label(last - 3, y - 3, text, f"{kind}-word", "end") if text else "")


def scale_left(axis: Axis, left: float, right: float, about: int = 4) -> str:
    """Faint lines across, and numbers at the left."""
    return "".join(
        tag("path", d=f"M{_r(left)} {_r(float(axis.at(at)))}H{_r(right)}", class_="grid")
        + label(left - 5, float(axis.at(at)) + 4, number(at), "tick", "end")
        for at in axis.ticks(about)
    )


def svg(
    width: int,
    height: int,
    parts: Iterable[str],
    title: str,
    kind: str = "plot",
    stretched: bool = False,
) -> str:
    """The whole, with its one-sentence description for those who do not see it. stretched: it fills
    its place whatever that measures; then it must hold no words."""
    inside = "".join(parts)
    fit = {"preserveAspectRatio": "none"} if stretched else {}
    return tag(
        "svg",
        tag("title", escape(title)) + inside,
        viewBox=f"0 0 {width} {height}",
        width=width,
        height=height,
        class_=kind,
        role="img",
        **fit,
    )


def points(x: Floats, y: Floats, kind: str, cross: bool = False) -> str:
    """Small marks: dots, or crosses where two kinds must differ without colour."""
    parts: list[str] = []
    for a, b in _finite(x, y):
        mark = f"M{_r(a - 2)} {_r(b - 2)}l4 4m0 -4l-4 4" if cross else f"M{_r(a)} {_r(b)}h.01"
        parts.append(mark)
    return tag("path", d="".join(parts), class_=kind) if parts else ""


def _finite(x: Floats, y: Floats) -> Iterator[tuple[float, float]]:
    for a, b in zip(x.tolist(), y.tolist(), strict=True):
        if math.isfinite(a) and math.isfinite(b):
            yield a, b


def decimated(found: Floats, columns: int) -> tuple[Floats, Floats]:
    """(place in the samples, value): least and highest of each column in their order, so that no
    sample's peak is lost at any zoom."""
    if found.shape[0] <= 2 * columns:
        return np.arange(found.shape[0], dtype=np.float64), found
    edges = np.linspace(0, found.shape[0], columns + 1).astype(np.int64)
    places: list[int] = []
    for first, after in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        piece = found[first:after]
        if np.isfinite(piece).any():
            pair = {first + int(np.nanargmin(piece)), first + int(np.nanargmax(piece))}
            places += sorted(pair)
        else:
            places.append(first)
    at = np.array(places)
    return at.astype(np.float64), found[at]


def time_ticks(from_us: int, to_us: int, offset_us: int) -> Sequence[int]:
    """Round local times within a period, four to nine of them. offset_us: local less UTC."""
    minute = 60_000_000
    steps = [m * minute for m in (1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440, 2880, 10080)]
    steps += [30 * 1440 * minute, 90 * 1440 * minute]
    step = next((one for one in steps if (to_us - from_us) / one <= 8), steps[-1])
    first = -(-(from_us + offset_us) // step)
    last = (to_us + offset_us) // step
    return [k * step - offset_us for k in range(first, last + 1)]


def _r(found: float) -> str:
    text = f"{found:.1f}"
    return text[:-2] if text.endswith(".0") else text
