"""Stored feeds through the very same steps, in one process or several.

Ticks are measured in parallel, because the measure carries nothing across them; deciding is one
cheap pass over the rows in order. However many processes: the same outputs in the same order.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

from edge import pipeline
from edge.decide.binding import DecisionPlan
from edge.measure import stepping
from edge.measure.cutting import Action, Close, Cut, Open, anchored_anew, cut_block
from edge.measure.plan import MeasurePlan
from edge.measure.raw_rows import CapturedWaveform
from edge.measure.windows import WindowTable
from edge.pipeline import Output, Outputs
from edge.records import IntervalRow
from edge.samples import SampleBlock, SignalDescription, SourceItem, StreamEnd, TimeAnchor

Items = Callable[[], Iterable[SourceItem]]
"""Begins the feed anew each time it is called."""


@dataclass(frozen=True, slots=True, eq=False)
class Plans:
    """What both steps are to know."""

    measure: MeasurePlan
    decision: DecisionPlan
    description: SignalDescription


@dataclass(frozen=True, slots=True)
class Stretch:
    """Some whole ticks of a feed: samples `start` to `stop`, and the cutting's state before.

    samples: that are there, without gaps.
    """

    cut: Cut
    start: int
    stop: int
    samples: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredStretch:
    """What the measure gave for a stretch, step by step."""

    windows: tuple[tuple[tuple[str, WindowTable], ...], ...]
    rows: tuple[IntervalRow, ...]
    captured: tuple[CapturedWaveform, ...] = ()


def played(plans: Plans, items: Iterable[SourceItem]) -> Iterator[Outputs]:
    """Every step's outputs: the loop that the daemon runs, too."""
    state = pipeline.initial(plans.measure, plans.decision, plans.description)
    for item in items:
        state, outputs = pipeline.step(state, item)
        yield outputs


def stretches(rate_hz: float, items: Iterable[SourceItem], ticks_each: int) -> list[Stretch]:
    """A feed's stretches of `ticks_each` segments; samples are not touched."""
    cut = Cut(rate_hz)
    begun: list[tuple[Cut, int, int]] = []
    segments = stop = seen = 0
    for item in items:
        if isinstance(item, TimeAnchor):
            cut = anchored_anew(cut, item)
        if not isinstance(item, SampleBlock):
            continue
        before, (cut, actions) = cut, cut_block(cut, item.counter, item.counter_end)
        for index, action in enumerate(actions):
            if isinstance(action, Open) and not _after_gap(actions, index):
                if segments % ticks_each == 0:
                    told = seen + action.start - item.counter
                    begun.append((_opening(before, action), action.start, told))
                segments += 1
        stop = item.counter_end
        seen += stop - item.counter
    bounds = [(start, told) for _, start, told in begun[1:]] + [(stop, seen)]
    return [
        Stretch(one, start, end, told_end - told)
        for (one, start, told), (end, told_end) in zip(begun, bounds, strict=True)
    ]


def _after_gap(actions: list[Action], index: int) -> bool:
    """Whether a segment opens after a gap: the minute before may go on in it."""
    before = actions[index - 1] if index else None
    return isinstance(before, Close) and not before.rows_end


def _opening(before: Cut, action: Open) -> Cut:
    """The cutting's state just before a segment opens."""
    later = tuple(one for one in before.pending if one.counter > action.start)
    return replace(
        before,
        anchor=action.anchor,
        pending=later,
        next_counter=action.start,
        is_open=False,
        flags=action.flags,
    )


def measured_stretch(
    plans: Plans, items: Iterable[SourceItem], stretch: Stretch
) -> MeasuredStretch:
    """The measure of one stretch, alone."""
    state = stepping.initial(plans.measure, plans.description, stretch.cut)
    windows: list[tuple[tuple[str, WindowTable], ...]] = []
    rows: list[IntervalRow] = []
    captured: list[CapturedWaveform] = []
    for item in itertools.chain(_within(items, stretch), [StreamEnd(stretch.stop, "")]):
        state, found = stepping.step(state, item)
        windows.append(found.windows)
        rows += found.rows
        captured += found.captured
    return MeasuredStretch(tuple(windows), tuple(rows), tuple(captured))


def _within(items: Iterable[SourceItem], stretch: Stretch) -> Iterator[SourceItem]:
    for item in items:
        if isinstance(item, TimeAnchor) and stretch.start < item.counter < stretch.stop:
            yield item
        if not isinstance(item, SampleBlock) or item.counter_end <= stretch.start:
            continue
        if item.counter >= stretch.stop:
            return
        first = max(stretch.start - item.counter, 0)
        last = min(stretch.stop - item.counter, len(item.samples))
        missing = None if item.missing is None else item.missing[first:last]
        yield SampleBlock(item.counter + first, item.samples[first:last], missing)


def decided(
    state: pipeline.PipelineState, measured: MeasuredStretch
) -> tuple[pipeline.PipelineState, tuple[Output, ...]]:
    """Decides on the stretch that follows; the same records in the same order as `played`."""
    records: list[Output] = []
    for row in measured.rows:
        state, outputs = pipeline.decided(state, (row,), (), measured.captured)
        records += outputs.records
    return state, tuple(records)
