"""What people did and found on a site, as the trends take it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from edge.records import LineStatus
from gateway.history.loaded import INSPECTION, LINE_STATUS, MAINTENANCE, Cell, LoadedRows
from gateway.trends.columns import Action, MaintenanceRow, Period, Seen

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


WETTABLE_CLASSES = ("6", "7")
"""Nearly or wholly wetted (classes as recalled); lower ones still repel water in part."""


def seen_on(rows: LoadedRows, done: Sequence[MaintenanceRow]) -> dict[str, Seen]:
    """What people last saw on each insulator that matters for advice, not replaced since."""
    latest: dict[tuple[str, str], dict[str, Cell]] = {}
    for row in rows.notes(INSPECTION, *ALWAYS_US):
        if row["insulator"] and row["finding"] in (*GRAVE_FINDINGS, "hydrophobicity"):
            latest[str(row["insulator"]), str(row["finding"])] = row
    found: dict[str, Seen] = {}
    for (insulator, finding), row in sorted(latest.items()):
        if _replaced_since(row, insulator, done):
            continue
        damage = finding in GRAVE_FINDINGS and row["grade"] != NOT_GRAVE
        wettable = finding == "hydrophobicity" and row["grade"] in WETTABLE_CLASSES
        if damage or wettable:
            before = found.get(insulator, Seen())
            text = "; ".join(one for one in (before.text, finding_text(row)) if one)
            found[insulator] = Seen(before.damage or damage, before.wettable or wettable, text)
    return found


def finding_text(row: Mapping[str, Cell]) -> str:
    """A finding in words, with its depth where it was measured and its date."""
    depth = row["depth_um"]
    deep = f", {depth / 1000:.1f} mm deep," if isinstance(depth, int) else ""
    grade = f"class {row['grade']}" if row["finding"] == "hydrophobicity" else str(row["grade"])
    day = np.datetime64(_number(row, "start_us"), "us").astype("datetime64[D]")
    return f"{row['finding']} {grade}{deep} found on {day}"


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
