"""The seam for rows from elsewhere: which kinds there are, how they are added and read.

A row is known by insulator, start and source (a word for where the rows come from); adding it again
changes nothing, and a row that says otherwise under the same key is not taken.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from gateway.history.chunks import Bools, Ints

SITE = ""
"""Stands for an insulator's name where a row concerns the whole site."""


KEPT_SOURCE = "kept-of-units"
"""Source of rows that units sent and that are thinned."""


class Columns(StrEnum):
    """Kinds of rows that lie in columns. Weather has SITE for an insulator; a forecast has the time
    at which it was issued there, so that a later one stands beside an earlier. Hourly rows are made
    of interval rows when those are thinned, and only read by who asks for them. Packed ones are
    copies of whole weeks of rows that units sent, which are read in a fraction of the time."""

    INTERVAL = "interval"
    WEATHER = "weather"
    FORECAST = "forecast"
    HOURLY = "hourly"
    PACKED = "packed"


@dataclass(frozen=True, slots=True)
class NoteTable:
    """Rows that people write. key: columns that make a row one row, besides the source. words:
    columns whose words repeat."""

    name: str
    key: tuple[str, ...]
    rest: tuple[str, ...]
    words: tuple[str, ...] = ("insulator",)

    @property
    def columns(self) -> tuple[str, ...]:
        """All columns, without the source."""
        return (*self.key, *self.rest)


MAINTENANCE = NoteTable("maintenance", ("insulator", "start_us", "action"), ("note",))
INSPECTION = NoteTable(
    "inspection",
    ("insulator", "start_us", "finding"),
    ("grade", "depth_um", "photo", "note"),
)
DEPOSIT = NoteTable("deposit", ("insulator", "start_us"), ("esdd_ng_cm2", "nsdd_ng_cm2", "note"))
LINE_STATUS = NoteTable("line_status", ("start_us",), ("duration_us", "line_status"), ())
NOTE_TABLES = (MAINTENANCE, INSPECTION, DEPOSIT, LINE_STATUS)

Cell = int | str | None


@dataclass(frozen=True, slots=True)
class Taken:
    """What became of rows that were offered, shape (rows,) each."""

    added: Bools
    differs: Bools


class SiteLoader(Protocol):
    """Adds rows from elsewhere to one site; hold the folder's lock. Close it when done."""

    def close(self) -> None: ...

    def together(self) -> AbstractContextManager[None]:
        """What is added inside is there as a whole, durable, or not at all."""

    def number(self, word: str) -> int:
        """The number that stands for a word in a column."""

    def add_columns(
        self, kind: Columns, insulator: str, source: str, columns: Mapping[str, Ints]
    ) -> Taken:
        """Rows by columns; `start_us` and `duration_us` are among them."""

    def add_note(self, table: NoteTable, source: str, row: Mapping[str, Cell]) -> bool | None:
        """True: added; False: was there already; None: another row has its key."""


class LoadedRows(Protocol):
    """Reads what was loaded into one site."""

    def loaded_insulators(self) -> list[str]: ...

    def forecast_issues(self) -> list[str]:
        """When the loaded forecasts were issued, RFC 3339 UTC, in order."""

    def extent_us(self, kind: Columns) -> tuple[int, int] | None:
        """From the first start to the last end of the loaded rows."""

    def loaded_columns(
        self, kind: Columns, insulator: str, names: Sequence[str], start_us: int, end_us: int
    ) -> dict[str, Ints]:
        """Chosen columns and `start_us` of the rows that start in [start, end), in order of time;
        ABSENT where a row does not have one."""

    def live_columns(
        self, kind: Columns, insulator: str, names: Sequence[str], start_us: int, end_us: int
    ) -> dict[str, Ints]:
        """The same of the rows that units sent and that sum (no ten-second rows); words in them
        (`state`, `flags`) as numbers that `spell` spells."""

    def live_extent_us(self, kind: Columns) -> tuple[int, int] | None:
        """As `extent_us`, of the rows that units sent."""

    def spell(self, number: int) -> str: ...

    def insulators(self) -> list[str]:
        """Those that have rows which units sent."""

    def close(self) -> None: ...

    def notes(self, table: NoteTable, start_us: int, end_us: int) -> list[dict[str, Cell]]:
        """Rows that start in [start, end), in order of time."""
