"""What people did and found on a site, as the trends take it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from edge.records import LineStatus
from gateway.history.loaded import INSPECTION, LINE_STATUS, MAINTENANCE, Cell, LoadedRows
from gateway.trends.columns import Action, MaintenanceRow, Period

ALWAYS_US = (0, 1 << 62)
GRAVE_FINDINGS = ("erosion", "tracking")
NOT_GRAVE = "light"


def maintenance_rows(rows: LoadedRows) -> tuple[MaintenanceRow, ...]:
    """All that was done, in order of time."""
    return tuple(
        MaintenanceRow(
            str(row["insulator"]),
            _number(row, "start_us"),
            Action(str(row["action"])),
            str(row["note"]),
        )
        for row in rows.notes(MAINTENANCE, *ALWAYS_US)
    )


def damaged_insulators(rows: LoadedRows, done: Sequence[MaintenanceRow]) -> frozenset[str]:
    """Insulators whose latest word on erosion or tracking is more than light, and that were not
    replaced since."""
    latest: dict[tuple[str, str], Mapping[str, Cell]] = {}
    for row in rows.notes(INSPECTION, *ALWAYS_US):
        if row["finding"] in GRAVE_FINDINGS and row["insulator"]:
            latest[str(row["insulator"]), str(row["finding"])] = row
    return frozenset(
        insulator
        for (insulator, _), row in latest.items()
        if row["grade"] != NOT_GRAVE and not _replaced_since(row, insulator, done)
    )


def _replaced_since(
    row: Mapping[str, Cell], insulator: str, done: Iterable[MaintenanceRow]
) -> bool:
    return any(
        one.action is Action.REPLACE
        and one.insulator in ("", insulator)
        and one.start_us > _number(row, "start_us")
        for one in done
    )


def dead_spans(rows: LoadedRows) -> tuple[Period, ...]:
    """When the line was out of service, as its status rows say."""
    return tuple(
        Period(_number(row, "start_us"), _number(row, "start_us") + _number(row, "duration_us"))
        for row in rows.notes(LINE_STATUS, *ALWAYS_US)
        if row["line_status"] == LineStatus.OUT_OF_SERVICE
    )


def _number(row: Mapping[str, Cell], name: str) -> int:
    found = row[name]
    assert isinstance(found, int)
    return found
