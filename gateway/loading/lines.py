"""Lines of a CSV file with their numbers, some thousands at a time."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Protocol, TextIO, cast

from gateway.loading.kinds import FileKind, FileRefused, kind_of

LINES_AT_ONCE = 20_000
"""Bounds the memory that text takes; the numbers made of it are small."""

CELL_CHARACTERS_MAX = 100_000
"""A longer cell is no CSV of ours: an unclosed quote, mostly. The file is refused."""


@dataclass(frozen=True, slots=True)
class Refusal:
    """A row that was not taken. line: of the file, from 1. column: "" where the whole row is it."""

    line: int
    column: str
    reason: str


@dataclass(frozen=True, slots=True)
class Lines:
    """Rows as text. numbers: line of each. columns: known columns only, equally long."""

    numbers: list[int]
    columns: dict[str, Sequence[str]]


@dataclass(frozen=True, slots=True)
class Head:
    """kind: what the header says the rows are. header: all columns, as they stand."""

    kind: FileKind
    header: tuple[str, ...]

    @property
    def unknown(self) -> list[str]:
        """Columns that are not read."""
        return [name for name in self.header if name not in self.kind.known]


class NumberedRows(Protocol):
    """Rows of cells. line_num: lines of the file that were read so far."""

    line_num: int

    def __iter__(self) -> Iterator[list[str]]: ...

    def __next__(self) -> list[str]: ...


def opened(path: Path) -> TextIO:
    """The file as text; bytes that are no UTF-8 come through as unprintable characters."""
    if path.exists() and not path.is_file():
        raise FileRefused("file", f"{path} is no plain file; give a CSV file")
    return path.open(encoding="utf-8-sig", errors="surrogateescape", newline="")


def reader_of(stream: TextIO) -> NumberedRows:
    """A reader of comma-separated cells."""
    csv.field_size_limit(CELL_CHARACTERS_MAX)
    return cast(NumberedRows, csv.reader(stream, strict=True))


def head_of(rows: Iterator[list[str]]) -> Head:
    """The kind of a file by its first line. Raises FileRefused."""
    header = tuple(cell.strip() for cell in next(rows, []))
    if not any(header):
        raise FileRefused("header", "the first line is empty; it must name the columns")
    return Head(kind_of(header), header)


def batches(rows: NumberedRows, head: Head) -> Iterator[tuple[Lines, list[Refusal]]]:
    """The rows below the header, and those that have too many or too few cells."""
    width = len(head.header)
    numbered = _numbered(rows)
    while batch := list(islice(numbered, LINES_AT_ONCE)):
        uneven = [
            Refusal(line, "", f"{len(cells)} cells; the header has {width}")
            for line, cells in batch
            if len(cells) != width
        ]
        if uneven:
            batch = [one for one in batch if len(one[1]) == width]
        across = list(zip(*(cells for _, cells in batch), strict=True)) or [()] * width
        columns: dict[str, Sequence[str]] = {
            name: cells
            for name, cells in zip(head.header, across, strict=True)
            if name in head.kind.known
        }
        yield Lines([line for line, _ in batch], columns), uneven


def _numbered(rows: NumberedRows) -> Iterator[tuple[int, list[str]]]:
    before = rows.line_num
    try:
        for cells in rows:
            if cells:
                yield before + 1, cells
            before = rows.line_num
    except csv.Error as fault:
        raise FileRefused(
            "csv", f"line {before + 1}: {fault}; mend the quotes from there on"
        ) from fault
