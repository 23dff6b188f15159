"""Marks of a drawing in points from its upper left corner, and the drawing as SVG.

Both forms of the report draw from these, so a figure is the same in both. Meaning is in shape,
place and grey; the one colour is for limits, which are dashed besides.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]

INK, MUTED, FAINT, MIDDLE, SHADE, PALE = (
    "#1B1F23", "#4A5157", "#B9BFC4", "#7C868E", "#D5DADE", "#EDEFF1",
)  # fmt: skip
BLUE = "#0B5CA8"
"""Of limits only."""
FONT = "DejaVu Sans"


@dataclass(frozen=True, slots=True)
class Line:
    """Through these points."""

    points: tuple[Point, ...]
    colour: str = INK
    width: float = 0.8
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Area:
    """A filled polygon."""

    points: tuple[Point, ...]
    colour: str = SHADE


@dataclass(frozen=True, slots=True)
class Dots:
    """Round marks, filled or open, or crosses."""

    points: tuple[Point, ...]
    colour: str = INK
    radius: float = 1.0
    shape: Literal["dot", "ring", "cross"] = "dot"


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text; `at` is its base line."""

    at: Point
    text: str
    size: float = 6.5
    colour: str = MUTED
    anchor: Anchor = "start"
    bold: bool = False


Mark = Line | Area | Dots | Words


@dataclass(frozen=True, slots=True)
class Drawing:
    """Marks in the order in which they are put down."""

    width: float
    height: float
    marks: tuple[Mark, ...]


def svg(drawing: Drawing, label: str = "") -> str:
    """The drawing as an SVG element that carries its own meaning for readers of the screen."""
    title = f"<title>{escape(label)}</title>" if label else ""
    body = "".join(_svg(mark) for mark in drawing.marks)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {drawing.width:g} '
        f'{drawing.height:g}" width="{drawing.width:g}pt" height="{drawing.height:g}pt">'
        f"{title}{body}</svg>"
    )


def _svg(mark: Mark) -> str:
    if isinstance(mark, Line):
        dash = f' stroke-dasharray="{_numbers(mark.dash)}"' if mark.dash else ""
        return (
            f'<polyline points="{_points(mark.points)}" fill="none" stroke="{mark.colour}" '
            f'stroke-width="{mark.width:g}"{dash}/>'
        )
    if isinstance(mark, Area):
        return f'<polygon points="{_points(mark.points)}" fill="{mark.colour}"/>'
    if isinstance(mark, Dots):
        return _svg_dots(mark)
    weight = ' font-weight="bold"' if mark.bold else ""
    return (
        f'<text x="{mark.at[0]:.1f}" y="{mark.at[1]:.1f}" font-size="{mark.size:g}" '
        f'fill="{mark.colour}" text-anchor="{mark.anchor}"{weight}>{escape(mark.text)}</text>'
    )


def _svg_dots(mark: Dots) -> str:
    """One path for all: a year of hours is thousands of marks."""
    r = mark.radius
    if mark.shape == "cross":
        strokes = "".join(
            f"M{x - r:.1f} {y - r:.1f}l{2 * r:g} {2 * r:g}m0 {-2 * r:g}l{-2 * r:g} {2 * r:g}"
            for x, y in mark.points
        )
        return f'<path d="{strokes}" fill="none" stroke="{mark.colour}" stroke-width="0.5"/>'
    rings = "".join(
        f"M{x - r:.1f} {y:.1f}a{r:g} {r:g} 0 1 0 {2 * r:g} 0a{r:g} {r:g} 0 1 0 {-2 * r:g} 0"
        for x, y in mark.points
    )
    if mark.shape == "ring":
        return f'<path d="{rings}" fill="none" stroke="{mark.colour}" stroke-width="0.6"/>'
    return f'<path d="{rings}" fill="{mark.colour}"/>'


def _points(points: Iterable[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _numbers(numbers: Sequence[float]) -> str:
    return " ".join(f"{one:g}" for one in numbers)
