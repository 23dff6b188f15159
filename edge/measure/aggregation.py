"""From windows to rows: minutes, and ten seconds besides where arcing is severe.

A window belongs wholly to the minute in which it starts. Ten-second rows are made besides, where
arcing is severe and for the ten seconds after; they are never summed.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from edge.measure.interval_rows import interval_row
from edge.measure.plan import InsulatorPlan
from edge.measure.windows import WindowTable, joined
from edge.quantities import PULSE_LEVELS_MA
from edge.records import IntervalRow, Span

Integers = npt.NDArray[np.int64]

MINUTE_US = 60_000_000
TEN_SECONDS_US = 10_000_000

NEVER_SEVERE = -2
"""No slot follows it: the first slot of 1970 is number 0, where a clock was never set."""


@dataclass(frozen=True, slots=True, eq=False)
class Gathered:
    """Windows of one insulator not yet in a minute row, in order of time.

    severe_slot: number of the last ten-second slot that was severe, NEVER_SEVERE before any.
    """

    tables: tuple[WindowTable, ...] = ()
    slots_done_us: int = 0
    severe_slot: int = NEVER_SEVERE


def gathered_step(
    gathered: Gathered,
    insulator: InsulatorPlan,
    table: WindowTable | None,
    ended: bool,
    severe: tuple[int, int],
) -> tuple[Gathered, list[IntervalRow]]:
    """Takes windows in; gives the minute and ten-second rows that are complete.

    ended: no later window can start in the minutes seen so far. severe: level [mA] of an arcing
    half-cycle and number of them that make ten seconds severe.
    """
    tables = [*gathered.tables, *([table] if table is not None else [])]
    if not tables or (table is None and not ended):
        return gathered, []
    if not ended and _in_one_slot(tables):
        return replace(gathered, tables=tuple(tables)), []
    windows = joined(tables)
    # a calibration holds for whole segments, and a segment lies within one ten-minute tick
    calibration = insulator.calibration_at(int(windows.start_us[0])).id
    rows: list[tuple[int, int, IntervalRow]] = []
    gathered, fast = _ten_seconds(gathered, insulator.id, calibration, windows, ended, severe)
    rows += [(row.start_us + row.duration_us, 0, row) for row in fast]
    minutes = windows.start_us // MINUTE_US
    stop = len(windows) if ended else int(np.searchsorted(minutes, minutes[-1]))
    for first, last in _runs(minutes[:stop]):
        row = interval_row(windows.rows(first, last), Span.MINUTE, insulator.id, calibration)
        rows.append((row.start_us + row.duration_us, 1, row))
    rest = windows.rows(stop, len(windows))
    kept = Gathered((rest,) if len(rest) else (), gathered.slots_done_us, gathered.severe_slot)
    rows.sort(key=lambda item: item[:2])
    return kept, [row for _, _, row in rows]


def _in_one_slot(tables: list[WindowTable]) -> bool:
    """Whether the last table stays in the ten seconds of the window before it: none is complete."""
    if len(tables) < 2:
        return False
    before, last = tables[-2].start_us[-1], tables[-1].start_us
    return bool(before // TEN_SECONDS_US == last[0] // TEN_SECONDS_US == last[-1] // TEN_SECONDS_US)


def _runs(numbers: Integers) -> list[tuple[int, int]]:
    """(first, stop) of each run of equal numbers."""
    if len(numbers) == 0:
        return []
    edges = np.flatnonzero(np.diff(numbers)) + 1
    return list(itertools.pairwise([0, *edges.tolist(), len(numbers)]))


def _ten_seconds(
    gathered: Gathered,
    insulator: str,
    calibration: str,
    windows: WindowTable,
    ended: bool,
    severe: tuple[int, int],
) -> tuple[Gathered, list[IntervalRow]]:
    slots = windows.start_us // TEN_SECONDS_US
    first = int(np.searchsorted(windows.start_us, gathered.slots_done_us))
    stop = len(windows) if ended else int(np.searchsorted(slots, slots[-1]))
    level = PULSE_LEVELS_MA.index(severe[0])
    rows: list[IntervalRow] = []
    severe_slot, done_us = gathered.severe_slot, gathered.slots_done_us
    for begin, end in _runs(slots[first:stop]):
        part = windows.rows(first + begin, first + end)
        slot = int(slots[first + begin])
        is_severe = int(part.arc_pulses[:, level].sum()) >= severe[1]
        if is_severe or severe_slot == slot - 1:
            rows.append(interval_row(part, Span.TEN_SECONDS, insulator, calibration))
        severe_slot = slot if is_severe else severe_slot
        done_us = (slot + 1) * TEN_SECONDS_US
    return Gathered(gathered.tables, done_us, severe_slot), rows
