"""`step(state, item) -> (state, outputs)`: the measure as a whole.

Carries nothing across a ten-minute UTC tick or a gap but the description and the last time anchor,
so ticks can be measured in parallel.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from edge.measure.aggregation import Gathered, gathered_step
from edge.measure.flags import flag_bits
from edge.measure.plan import MeasurePlan
from edge.measure.segment import Segment, advanced, opened, scaled, taken_in, utc_us
from edge.measure.windows import WindowTable
from edge.quantities import Flag
from edge.records import IntervalRow
from edge.samples import (
    AnchorSource,
    SampleBlock,
    SignalDescription,
    SourceItem,
    StreamEnd,
    TimeAnchor,
)

TICK_US = 600_000_000
"""Ten minutes: at each, UTC-aligned, everything is anchored anew."""

CLOCK_STEP_NS = 1_000_000_000
"""UTC that moves by more against the counter is a step: a new segment, flagged."""

NO_ANCHOR = TimeAnchor(0, 0, 1 << 62, AnchorSource.LOCAL, synchronised=False)


@dataclass(frozen=True, slots=True, eq=False)
class MeasureState:
    """What the measure carries.

    anchor: the newest time anchor. pending: anchors for samples not yet here. next_counter:
    counter expected next, -1 before the first sample. tick_stop: counter of the first sample of
    the next tick. flags: bits for the segment that opens next.
    """

    plan: MeasurePlan
    description: SignalDescription
    gathered: tuple[Gathered, ...]
    anchor: TimeAnchor | None = None
    pending: tuple[TimeAnchor, ...] = ()
    segment: Segment | None = None
    next_counter: int = -1
    tick_stop: int = 0
    flags: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """What one step gives: windows of each insulator, in plan order, and rows in order of end."""

    windows: tuple[tuple[str, WindowTable], ...]
    rows: tuple[IntervalRow, ...]


NOTHING = Measured((), ())


def initial(plan: MeasurePlan, description: SignalDescription) -> MeasureState:
    """The state before the first sample."""
    return MeasureState(plan, description, tuple(Gathered() for _ in plan.insulators))


def step(state: MeasureState, item: SourceItem) -> tuple[MeasureState, Measured]:
    """Takes in what a source delivered next."""
    if isinstance(item, TimeAnchor):
        return replace(state, pending=(*state.pending, item)), NOTHING
    if isinstance(item, SampleBlock):
        return _block(state, item)
    if isinstance(item, StreamEnd):
        return _closed(state, rows_end=True)
    return state, NOTHING


def _block(state: MeasureState, block: SampleBlock) -> tuple[MeasureState, Measured]:
    outputs: list[Measured] = []
    counter, end = block.counter, block.counter_end
    if state.next_counter >= 0 and counter > state.next_counter:
        state, found = _closed(state, rows_end=False, flags=flag_bits(Flag.GAP))
        outputs.append(found)
    elif 0 <= counter < state.next_counter:
        counter = min(end, state.next_counter)  # delivered twice: the first time counts
    while counter < end:
        state, found = _at_border(state, counter)
        outputs.append(found)
        stop = min(end, _next_border(state))
        state, found = _taken(state, block, counter, stop)
        outputs.append(found)
        counter = stop
    return replace(state, next_counter=max(end, state.next_counter)), _together(outputs)


def _at_border(state: MeasureState, counter: int) -> tuple[MeasureState, Measured]:
    """Before sample `counter`: takes due anchors in, closes at a tick or step, opens a segment."""
    found = NOTHING
    due = [one for one in state.pending if one.counter <= counter]
    newest = due[-1] if due else state.anchor
    if due:
        later = state.pending[len(due) :]
        stepped = state.anchor is not None and _stepped(state, state.anchor, due[-1])
        if stepped and state.segment is not None:
            state, found = _closed(state, rows_end=True)
        flags = state.flags | (flag_bits(Flag.CLOCK_STEP) if stepped else 0)
        state = replace(state, anchor=newest, pending=later, flags=flags)
    if state.segment is not None and counter >= state.tick_stop:
        state, tick = _closed(state, rows_end=True)
        found = _together([found, tick])
    if state.segment is None:
        state = _opened(state, counter)
    return state, found


def _stepped(state: MeasureState, old: TimeAnchor, new: TimeAnchor) -> bool:
    believed = old.utc_ns + round((new.counter - old.counter) * 1e9 / state.description.rate_hz)
    return abs(new.utc_ns - believed) > CLOCK_STEP_NS


def _opened(state: MeasureState, counter: int) -> MeasureState:
    anchor = state.anchor or NO_ANCHOR
    rate_hz = state.description.rate_hz
    start_us = int(utc_us(anchor, rate_hz, np.array([counter]))[0])
    tick_us = (start_us // TICK_US + 1) * TICK_US
    stop = counter + int((tick_us - start_us) * rate_hz // 1e6)
    while int(utc_us(anchor, rate_hz, np.array([stop]))[0]) < tick_us:
        stop += 1
    flags = state.flags
    for word in state.plan.flags:
        flags |= flag_bits(Flag(word))
    if not anchor.synchronised:
        flags |= flag_bits(Flag.CLOCK_UNSYNCHRONISED)
    segment = opened(state.plan, state.description, counter, anchor, flags)
    return replace(state, segment=segment, tick_stop=stop, flags=0)


def _next_border(state: MeasureState) -> int:
    later = [one.counter for one in state.pending]
    return min([state.tick_stop, *later])


def _taken(
    state: MeasureState, block: SampleBlock, counter: int, stop: int
) -> tuple[MeasureState, Measured]:
    segment = state.segment
    assert segment is not None
    rows = slice(counter - block.counter, stop - block.counter)
    missing = None if block.missing is None else block.missing[rows]
    currents, voltages = scaled(
        state.plan, state.description, segment, block.samples[rows], missing
    )
    segment = taken_in(segment, currents, voltages)
    segment, tables = advanced(state.plan, state.description, segment, ended=False)
    state = replace(state, segment=segment, next_counter=stop)
    return _gathered(state, tables, ended=False)


def _closed(
    state: MeasureState, *, rows_end: bool, flags: int = 0
) -> tuple[MeasureState, Measured]:
    """Ends the open segment; rows_end: its last minute is complete too. flags: for what follows
    and, on the last windows, for what ends."""
    if state.segment is None:
        return replace(state, flags=state.flags | flags), NOTHING
    segment = replace(state.segment, flags=state.segment.flags | flags)
    _, tables = advanced(state.plan, state.description, segment, ended=True)
    state = replace(state, segment=None, flags=state.flags | flags)
    return _gathered(state, tables, ended=rows_end)


def _gathered(
    state: MeasureState, tables: list[WindowTable | None], ended: bool
) -> tuple[MeasureState, Measured]:
    severe = (int(state.plan.limits.severe_ma), state.plan.limits.severe_halfcycles)
    kept: list[Gathered] = []
    rows: list[IntervalRow] = []
    windows: list[tuple[str, WindowTable]] = []
    for insulator, before, table in zip(state.plan.insulators, state.gathered, tables, strict=True):
        if table is not None:
            windows.append((insulator.id, table))
        start_us = int(table.start_us[0]) if table is not None else 0
        calibration = insulator.calibration_at(start_us).id
        one, found = gathered_step(before, insulator.id, calibration, table, ended, severe)
        kept.append(one)
        rows += found
    rows.sort(key=lambda row: (row.start_us + row.duration_us, row.insulator, row.span))
    return replace(state, gathered=tuple(kept)), Measured(tuple(windows), tuple(rows))


def utc_us_of(state: MeasureState, counter: int) -> int:
    """UTC [us] of a sample counter by the newest anchor; 0 before any."""
    anchor = state.pending[-1] if state.pending else state.anchor
    if anchor is None:
        return 0
    return int(utc_us(anchor, state.description.rate_hz, np.array([counter]))[0])


def _together(outputs: list[Measured]) -> Measured:
    windows = tuple(pair for one in outputs for pair in one.windows)
    rows = tuple(row for one in outputs for row in one.rows)
    return Measured(windows, rows)
