"""`step(state, item) -> (state, outputs)`: the measure as a whole.

Carries nothing across a ten-minute UTC tick or a gap but the time anchors, so ticks can be measured
in parallel. A minute that has a gap in it is still one row.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from edge.measure import capturing
from edge.measure.aggregation import Gathered, gathered_step
from edge.measure.capturing import Capturing
from edge.measure.cutting import (
    Action,
    Close,
    Cut,
    Open,
    Take,
    anchored_anew,
    cut_block,
    ended,
    utc_us_at,
)
from edge.measure.flags import flag_bits
from edge.measure.plan import MeasurePlan
from edge.measure.raw_rows import CapturedWaveform
from edge.measure.segment import advanced, due_at, opened, taken_in
from edge.measure.segment_state import Segment
from edge.measure.triggers import Found
from edge.measure.windows import WindowTable
from edge.quantities import Flag
from edge.records import IntervalRow, Span
from edge.samples import (
    SampleBlock,
    SignalDescription,
    SourceItem,
    StreamEnd,
    TimeAnchor,
    joined,
)


@dataclass(frozen=True, slots=True, eq=False)
class MeasureState:
    """What the measure carries: cutting, the open segment, and windows not yet in a minute row.

    capturing: in the open segment. waiting: waveforms whose minute row has not come out yet.
    """

    plan: MeasurePlan
    description: SignalDescription
    cut: Cut
    segment: Segment | None
    gathered: tuple[Gathered, ...]
    capturing: Capturing | None = None
    waiting: tuple[Found, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """What one step gives: windows of each insulator, in plan order, and rows in order of end.

    captured: waveforms worth keeping, each with the minute row that it names.
    """

    windows: tuple[tuple[str, WindowTable], ...] = ()
    rows: tuple[IntervalRow, ...] = ()
    captured: tuple[CapturedWaveform, ...] = ()


def initial(
    plan: MeasurePlan, description: SignalDescription, cut: Cut | None = None
) -> MeasureState:
    """The state before the first sample; `cut`: as it stood at a ten-minute tick."""
    gathered = tuple(Gathered() for _ in plan.insulators)
    return MeasureState(plan, description, cut or Cut(description.rate_hz), None, gathered)


def step(state: MeasureState, item: SourceItem) -> tuple[MeasureState, Measured]:
    """Takes in what a source delivered next."""
    if isinstance(item, TimeAnchor):
        return replace(state, cut=anchored_anew(state.cut, item)), Measured()
    if isinstance(item, SampleBlock):
        cut, actions = cut_block(state.cut, item.counter, item.counter_end)
        return _done(replace(state, cut=cut), actions, item)
    if isinstance(item, StreamEnd):
        cut, actions = ended(state.cut)
        return _done(replace(state, cut=cut), actions, None)
    return state, Measured()


def _done(
    state: MeasureState, actions: list[Action], block: SampleBlock | None
) -> tuple[MeasureState, Measured]:
    windows: list[tuple[str, WindowTable]] = []
    rows: list[IntervalRow] = []
    captured: list[CapturedWaveform] = []
    for action in actions:
        if isinstance(action, Open):
            state = _opened(state, action)
            continue
        if isinstance(action, Close):
            state, found = _closed(state, action)
        else:
            assert block is not None
            state, found = _taken(state, action, block)
        windows += found.windows
        rows += found.rows
        captured += found.captured
    return state, Measured(tuple(windows), tuple(rows), tuple(captured))


def _opened(state: MeasureState, action: Open) -> MeasureState:
    flags = action.flags | flag_bits(*(Flag(word) for word in state.plan.flags))
    segment = opened(state.plan, state.description, action.start, action.anchor, flags)
    begun = capturing.begun(state.plan, action.start, action.anchor)
    return replace(state, segment=segment, capturing=begun)


def _taken(state: MeasureState, action: Take, block: SampleBlock) -> tuple[MeasureState, Measured]:
    segment = state.segment
    assert segment is not None
    rows = slice(action.start - block.counter, action.stop - block.counter)
    missing = None if block.missing is None else block.missing[rows]
    taken = SampleBlock(action.start, block.samples[rows], missing)
    segment = replace(segment, waiting=(*segment.waiting, taken))
    if action.stop < segment.due:
        return replace(state, segment=segment), Measured()
    state, segment = _fed(state, segment)
    segment, tables = advanced(state.plan, state.description, segment, ended=False)
    segment = replace(segment, due=due_at(state.plan, state.description, segment))
    state = _watched(replace(state, segment=segment), tables, ended=False)
    return _gathered(state, tables, rows_end=False)


def _fed(state: MeasureState, segment: Segment) -> tuple[MeasureState, Segment]:
    """With the blocks that waited taken in."""
    if not segment.waiting:
        return state, segment
    block = joined(segment.waiting)
    assert state.capturing is not None
    state = replace(state, capturing=capturing.fed(state.capturing, block))
    segment = taken_in(state.plan, state.description, segment, block)
    return state, replace(segment, waiting=())


def _closed(state: MeasureState, action: Close) -> tuple[MeasureState, Measured]:
    segment = state.segment
    assert segment is not None
    state, segment = _fed(state, replace(segment, flags=segment.flags | action.flags))
    _, tables = advanced(state.plan, state.description, segment, ended=True)
    state = _watched(state, tables, ended=True)
    return _gathered(replace(state, segment=None, capturing=None), tables, rows_end=action.rows_end)


def _watched(state: MeasureState, tables: list[WindowTable | None], *, ended: bool) -> MeasureState:
    """With the waveforms that the windows made worth keeping."""
    assert state.capturing is not None
    if not ended and all(table is None for table in tables):
        return state
    kept, found = capturing.step(state.plan, state.description, state.capturing, tables, ended)
    return replace(state, capturing=kept, waiting=(*state.waiting, *found))


def _gathered(
    state: MeasureState, tables: list[WindowTable | None], *, rows_end: bool
) -> tuple[MeasureState, Measured]:
    severe = (int(state.plan.limits.severe_ma), state.plan.limits.severe_halfcycles)
    kept: list[Gathered] = []
    rows: list[IntervalRow] = []
    windows: list[tuple[str, WindowTable]] = []
    for insulator, before, table in zip(state.plan.insulators, state.gathered, tables, strict=True):
        if table is not None:
            windows.append((insulator.id, table))
        one, found = gathered_step(before, insulator, table, rows_end, severe)
        kept.append(one)
        rows += found
    rows.sort(key=lambda row: (row.start_us + row.duration_us, row.insulator, row.span))
    waiting, captured = _released(state.waiting, rows)
    state = replace(state, gathered=tuple(kept), waiting=waiting)
    return state, Measured(tuple(windows), tuple(rows), captured)


def _released(
    waiting: tuple[Found, ...], rows: list[IntervalRow]
) -> tuple[tuple[Found, ...], tuple[CapturedWaveform, ...]]:
    """(what waits on, what comes with these rows): each with the first minute that reaches it."""
    captured: list[CapturedWaveform] = []
    for row in rows:
        if not waiting or row.span is not Span.MINUTE:
            continue
        end_us = row.start_us + row.duration_us
        due = [
            one
            for one in waiting
            if one.captured.insulator == row.insulator and one.due_us < end_us
        ]
        waiting = tuple(one for one in waiting if one not in due)
        due.sort(key=lambda one: (one.captured.trigger_counter, one.captured.trigger))
        captured += [replace(one.captured, row_counter=row.start_counter) for one in due]
    return waiting, tuple(captured)


def utc_us_of(state: MeasureState, counter: int) -> int:
    """UTC [us] of a sample counter by the newest anchor; 0 before any."""
    anchor = state.cut.pending[-1] if state.cut.pending else state.cut.anchor
    return 0 if anchor is None else utc_us_at(anchor, state.description.rate_hz, counter)
