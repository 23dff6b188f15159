"""Rows that people write: maintenance, inspections, deposits, line status."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from edge.quantities import Quantity, from_column
from edge.wire import Refused
from gateway.history.loaded import (
    DEPOSIT,
    INSPECTION,
    LINE_STATUS,
    MAINTENANCE,
    SITE,
    Cell,
    NoteTable,
)
from gateway.loading.cells import instants, one_of, printable
from gateway.loading.column_rows import SECONDS_MAX, insulator_id
from gateway.loading.glossary import (
    ACTIONS,
    EROSION_DEPTH,
    ESDD,
    FINDINGS,
    GRADES,
    HYDROPHOBICITY_CLASSES,
    LINE_STATUSES,
    NSDD,
    SECONDS,
)
from gateway.loading.lines import Lines, Refusal

NOTE_CHARACTERS_MAX = 500
"""A row with a longer note is refused."""

Text = Mapping[str, str]


class BadCell(Refused):
    """One cell of a row; `reason` is its column."""


def noted_rows(table: NoteTable, text: Lines) -> Iterator[tuple[int, dict[str, Cell] | Refusal]]:
    """(line, row of the table) or (line, why not), in order."""
    names = list(text.columns)
    read = _READERS[table.name]
    for line, cells in zip(text.numbers, zip(*text.columns.values(), strict=True), strict=True):
        try:
            yield line, read(dict(zip(names, cells, strict=True)))
        except BadCell as fault:
            yield line, Refusal(line, fault.reason, str(fault))


def _maintenance(row: Text) -> dict[str, Cell]:
    return {
        "insulator": _insulator(row),
        "start_us": _start(row),
        "action": _cell("action", lambda: one_of("action", ACTIONS, row["action"])),
        "note": _note(row, "note"),
    }


def _inspection(row: Text) -> dict[str, Cell]:
    finding = _cell("finding", lambda: one_of("finding", FINDINGS, row["finding"]))
    return {
        "insulator": _insulator(row),
        "start_us": _start(row),
        "finding": finding,
        "grade": _cell("grade", lambda: _grade(finding, row.get("grade", ""))),
        "depth_um": _number(EROSION_DEPTH, row),
        "photo": _note(row, "photo"),
        "note": _note(row, "note"),
    }


def _grade(finding: str, text: str) -> str:
    """Erosion and tracking must be graded: advice depends on it."""
    if finding == "hydrophobicity":
        return one_of("grade", HYDROPHOBICITY_CLASSES, text)
    if not text.strip() and finding not in ("erosion", "tracking"):
        return ""
    return one_of("grade", GRADES, text)


def _deposit(row: Text) -> dict[str, Cell]:
    esdd, nsdd = _number(ESDD, row), _number(NSDD, row)
    if esdd is None and nsdd is None:
        raise BadCell("esdd_mg_cm2", "no deposit in the row")
    return {
        "insulator": _insulator(row),
        "start_us": _start(row),
        "esdd_ng_cm2": esdd,
        "nsdd_ng_cm2": nsdd,
        "note": _note(row, "note"),
    }


def _line_status(row: Text) -> dict[str, Cell]:
    length_us = _number(SECONDS.quantity, row)
    if length_us is None or not 0 < length_us <= 366 * SECONDS_MAX * 1_000_000:
        raise BadCell(
            "seconds", f"seconds is {row['seconds']!r}; it must be above 0, within a year"
        )
    return {
        "start_us": _start(row),
        "duration_us": length_us,
        "line_status": _cell(
            "line_status", lambda: one_of("line_status", LINE_STATUSES, row["line_status"])
        ),
    }


_READERS: dict[str, Callable[[Text], dict[str, Cell]]] = {
    MAINTENANCE.name: _maintenance,
    INSPECTION.name: _inspection,
    DEPOSIT.name: _deposit,
    LINE_STATUS.name: _line_status,
}


def _cell(column: str, read: Callable[[], str]) -> str:
    try:
        return read()
    except ValueError as fault:
        raise BadCell(column, str(fault)) from fault


def _insulator(row: Text) -> str:
    """Empty for the whole site."""
    if not row["insulator"].strip():
        return SITE
    return _cell("insulator", lambda: insulator_id(row["insulator"]))


def _start(row: Text) -> int:
    found, faults = instants("start", [row["start"]])
    if faults:
        raise BadCell("start", faults[0])
    return int(found[0])


def _note(row: Text, column: str) -> str:
    return _cell(column, lambda: printable(column, NOTE_CHARACTERS_MAX, row.get(column, "")))


def _number(quantity: Quantity, row: Text) -> int | None:
    text = row.get(quantity.column, "").strip()
    if not text:
        return None
    try:
        return from_column(quantity, text)
    except ValueError as fault:
        raise BadCell(quantity.column, str(fault)) from fault
