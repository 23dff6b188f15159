"""Which kind of rows a file holds, told by its columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from edge.wire import Refused
from gateway.history.loaded import (
    DEPOSIT,
    INSPECTION,
    LINE_STATUS,
    MAINTENANCE,
    Columns,
    NoteTable,
)
from gateway.loading.glossary import INTERVAL_MEASURES, WEATHER_MEASURES


class FileRefused(Refused):
    """A whole file cannot be loaded; nothing of it is kept."""


@dataclass(frozen=True, slots=True)
class FileKind:
    """title: as people say it. needed: columns that tell the kind. besides: may be there, too.
    any_of: at least one of them must be. into: where its rows go."""

    title: str
    needed: tuple[str, ...]
    besides: tuple[str, ...]
    into: Columns | NoteTable
    any_of: tuple[str, ...] = ()

    @property
    def known(self) -> frozenset[str]:
        """Every column that is read."""
        return frozenset((*self.needed, *self.besides, *self.any_of))


FILE_KINDS: tuple[FileKind, ...] = (
    FileKind("maintenance", ("insulator", "start", "action"), ("note",), MAINTENANCE),
    FileKind(
        "inspection",
        ("insulator", "start", "finding"),
        ("grade", "depth_mm", "photo", "note"),
        INSPECTION,
    ),
    FileKind("deposit", ("insulator", "start", "esdd_mg_cm2"), ("nsdd_mg_cm2", "note"), DEPOSIT),
    FileKind("line status", ("start", "seconds", "line_status"), (), LINE_STATUS),
    FileKind(
        "forecast",
        ("issued", "start", "seconds", "rh_pct"),
        tuple(one.column for one in WEATHER_MEASURES[1:]),
        Columns.FORECAST,
    ),
    FileKind(
        "interval",
        ("insulator", "start", "seconds"),
        ("flags", "calibration", "origin"),
        Columns.INTERVAL,
        ("state", *(one.column for one in INTERVAL_MEASURES)),
    ),
    FileKind(
        "weather",
        ("start", "seconds", "rh_pct", "air_c"),
        tuple(one.column for one in WEATHER_MEASURES[2:]),
        Columns.WEATHER,
    ),
)
"""The first that fits counts."""


def kind_of(header: Sequence[str]) -> FileKind:
    """The kind of a file with this header. Raises FileRefused, saying what each kind needs."""
    there = set(header)
    twice = sorted({name for name in header if header.count(name) > 1})
    if twice:
        raise FileRefused("header", f"column {twice[0]!r} stands twice; name each column once")
    for kind in FILE_KINDS:
        if there.issuperset(kind.needed) and (not kind.any_of or there & set(kind.any_of)):
            return kind
    raise FileRefused("header", f"{_found(header)}; {_needs()}")


def _found(header: Sequence[str]) -> str:
    if len(header) == 1 and any(mark in header[0] for mark in ";\t|"):
        return "the columns are not separated by commas"
    return f"the columns {', '.join(repr(name) for name in header[:8])} fit no kind of rows"


def _needs() -> str:
    needs = (
        f"{kind.title} rows need {','.join(kind.needed)}{' and a measure' if kind.any_of else ''}"
        for kind in FILE_KINDS
    )
    return "; ".join(needs)
