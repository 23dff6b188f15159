"""The report as blocks in order; what prints it as PDF or HTML knows nothing of insulators."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from gateway.report.marks import Drawing

Cell = str | Drawing


@dataclass(frozen=True, slots=True)
class Heading:
    """level 1: a part, on a new page where asked; 2: a section; 3: an insulator's name."""

    text: str
    level: Literal[1, 2, 3]
    new_page: bool = False


@dataclass(frozen=True, slots=True)
class Prose:
    """style: note is small and muted, lead is large, caution stands in a frame."""

    text: str
    style: Literal["plain", "note", "lead", "caution"] = "plain"


@dataclass(frozen=True, slots=True)
class Table:
    """widths: shares of the page's width. right: columns of numbers. bold: columns in bold.
    tall: room to write in."""

    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    widths: tuple[float, ...]
    right: tuple[int, ...] = ()
    bold: tuple[int, ...] = ()
    small: bool = False
    tall: bool = False


@dataclass(frozen=True, slots=True)
class Figure:
    """number: 1, 2, ... in the report. caption: what it shows, with units, time zone and how many
    samples it rests on. columns, rows: what is drawn, as its CSV has it."""

    number: int
    caption: str
    drawing: Drawing
    columns: tuple[str, ...]
    rows: Sequence[tuple[object, ...]]

    @property
    def csv_name(self) -> str:
        """Of the file beside the report."""
        return f"figure-{self.number:02d}.csv"


@dataclass(frozen=True, slots=True)
class Figures:
    """Side by side, kept together on a page."""

    figures: tuple[Figure, ...]


Block = Heading | Prose | Table | Figures


@dataclass(frozen=True, slots=True)
class Document:
    """title, subtitle: on the first page. foot: on every page."""

    title: str
    subtitle: str
    foot: str
    blocks: tuple[Block, ...]

    def figures(self) -> Iterable[Figure]:
        """All figures, in order."""
        for block in self.blocks:
            if isinstance(block, Figures):
                yield from block.figures


@dataclass(slots=True)
class Counter:
    """Numbers figures as they are made."""

    count: int = field(default=0)

    def figure(
        self,
        caption: str,
        drawing: Drawing,
        columns: tuple[str, ...],
        rows: Sequence[tuple[object, ...]],
        unit_and_zone: str,
    ) -> Figure:
        """The next figure; the caption ends with units, zone and sample count."""
        self.count += 1
        whole = f"{caption} {unit_and_zone}; n = {len(rows):,}."
        return Figure(self.count, whole, drawing, columns, rows)
