"""Which waveforms of a segment are worth keeping: candidates, as raw converter codes.

Knows one segment only, like all of the measure: the first arc of a segment is a candidate for an
onset, its highest arcing current one for a new highest, its first dry minute one for a baseline.
Whether they are is decided by `edge.captures`, which sees the segments in their order. A waveform
begins and ends with whole windows, so that replayed alone it is cut into the same windows again.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from edge.measure.plan import MeasurePlan
from edge.measure.raw_cuts import LEAD_CYCLES, Cutter, Window
from edge.measure.raw_rows import RawRows, Trigger
from edge.measure.triggers import (
    DRY,
    FLASHOVER_REACH_US,
    MINUTE_US,
    Found,
    Watching,
    after_arc,
    asked,
    at_the_end,
    completed,
    dry_minute,
    dry_passed_over,
)
from edge.measure.windows import WindowTable
from edge.samples import SampleBlock, SignalDescription, TimeAnchor

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Capturing:
    """Capturing in one open segment. start: its first counter. watching: in plan order."""

    start: int
    anchor: TimeAnchor
    rows: RawRows
    watching: tuple[Watching, ...]


def begun(plan: MeasurePlan, start: int, anchor: TimeAnchor) -> Capturing:
    """At the start of a segment."""
    return Capturing(start, anchor, RawRows(), tuple(Watching() for _ in plan.insulators))


def fed(capturing: Capturing, block: SampleBlock) -> Capturing:
    """With further raw rows."""
    return replace(capturing, rows=capturing.rows.joined_by(block))


def step(
    plan: MeasurePlan,
    description: SignalDescription,
    capturing: Capturing,
    tables: list[WindowTable | None],
    ended: bool,
) -> tuple[Capturing, list[Found]]:
    """Looks at the windows that were measured; ended: the segment is over."""
    found: list[Found] = []
    renewed: list[Watching] = []
    needed = [capturing.rows.stop]
    for insulator, watching, table in zip(plan.insulators, capturing.watching, tables, strict=True):
        cutter = Cutter(
            *(plan, description, insulator), capturing.start, capturing.anchor, capturing.rows
        )
        if table is not None and len(table):
            watching, some = _looked(cutter, watching, table)
            found += some
        if ended:
            found += at_the_end(cutter, watching)
        renewed.append(watching)
        needed.append(_needed_from(watching, capturing.start))
    lead = round(LEAD_CYCLES * description.rate_hz / plan.nominal_hz)
    rows = capturing.rows.without(min(needed) - lead)
    return replace(capturing, rows=rows, watching=tuple(renewed)), found


def _needed_from(watching: Watching, start: int) -> int:
    """Counter of the first window that may still be asked for, seconds ago at most."""
    begins = [one.begin for one in watching.wanted]
    begins += [watching.arc.wanted.begin] if watching.arc else []
    return min([watching.before.start if watching.before else start, *begins])


def _looked(cutter: Cutter, watching: Watching, table: WindowTable) -> tuple[Watching, list[Found]]:
    found: list[Found] = []
    passed = -1
    for index in _telling(watching, table):
        if passed < index - 1:
            skipped = slice(passed + 1, index)
            minute = dry_passed_over(watching, table.start_us[skipped], table.duration_us[skipped])
            watching = replace(watching, before=_window(cutter, table, index - 1), minute=minute)
        window = _window(cutter, table, index)
        watching, some = completed(cutter, watching, window)
        watching = asked(cutter, watching, window)
        watching, silent = after_arc(cutter, watching, window)
        watching, dry = dry_minute(cutter, watching, window)
        watching = replace(watching, before=window)
        found += [*some, *silent, *dry]
        passed = index
    return watching, found


def _telling(watching: Watching, table: WindowTable) -> list[int]:
    """The windows that can matter, in order; the last one always, as the newest.

    Looking at all of them would find the same: a window asks only if it is clipped, or arcs for the
    first time or higher than all before, and is answered by the next; an arc before the last one
    matters only if the current went after it; a minute is dry until its first window that is not,
    and what is passed over of it counts as dry.
    """
    arcs = np.asarray(table.arcing.any(axis=1), np.bool_)
    after = watching.arc is not None or bool(arcs.any())
    if after and not table.live.all():
        return list(range(len(table)))
    peaks = np.where(arcs, table.arcing_peak_ua, -1)
    before = np.maximum.accumulate(np.concatenate([[watching.highest_ua], peaks[:-1]]))
    asking = (table.clipped_halfcycles > 0) | (peaks > before)
    if Trigger.ONSET not in watching.seen and arcs.any():
        asking[np.argmax(arcs)] = True
    telling = asking.copy()
    telling[1:] |= asking[:-1]
    telling[0] |= bool(watching.wanted)
    if Trigger.BASELINE not in watching.seen:
        telling |= _still_dry(watching, table)
    telling[-1] = True
    if after:
        telling |= _after_the_last_arc(watching, table, arcs)
    return np.flatnonzero(telling).tolist()


def _after_the_last_arc(watching: Watching, table: WindowTable, arcs: Bools) -> Bools:
    """From the last arc on, up to the first window in which it is too long ago; all are live."""
    last, end_us = 0, watching.arc.end_us if watching.arc else 0
    if arcs.any():
        last = len(arcs) - 1 - int(np.argmax(arcs[::-1]))
        end_us = int(table.start_us[last] + table.last_arc_us[last])
    late = table.start_us + table.duration_us - end_us > FLASHOVER_REACH_US
    late[: last + 1] = False
    at = np.arange(len(arcs))
    until = int(np.argmax(late)) if late.any() else len(arcs)
    return np.asarray((at >= last) & (at <= until), np.bool_)


def _still_dry(watching: Watching, table: WindowTable) -> Bools:
    """Of each minute the first window and the first that is not dry; those between are dry."""
    minutes = table.start_us // MINUTE_US
    begins = np.flatnonzero(np.diff(minutes, prepend=-1))
    wet = (table.state != DRY).astype(np.int64)
    before = np.cumsum(wet) - wet
    told = (before == np.repeat(before[begins], np.diff(begins, append=len(minutes)))) & (wet > 0)
    told[begins] = True
    minute = watching.minute
    if minute is not None and minute.dry_us < 0:
        told &= minutes != minute.number
    return np.asarray(told, np.bool_)


def _window(cutter: Cutter, table: WindowTable, index: int) -> Window:
    """One row of a table."""
    start, duration_us = int(table.start[index]), int(table.duration_us[index])
    count = round(duration_us * (cutter.description.rate_hz / 1e6))
    return Window(
        start=start,
        stop=start + count,
        start_us=int(table.start_us[index]),
        duration_us=duration_us,
        arcs=int(table.arcing[index].sum()),
        first_arc_us=int(table.first_arc_us[index]),
        last_arc_us=int(table.last_arc_us[index]),
        arcing_peak_ua=int(table.arcing_peak_ua[index]),
        peak_ua=int(table.peak_ua[index]),
        clipped=int(table.clipped_halfcycles[index]),
        live=int(table.live[index]),
        state=int(table.state[index]),
        flags=int(table.flags[index]),
    )
