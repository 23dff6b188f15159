"""The steps in a row: measure, decide, and merging of dry minutes. Pure, state in and state out.

What it carries is what the durable file keeps beside the records. A live source begins a new signal
after a restart; a stored one is played again from its beginning, and the rows that were kept before
are passed over, so that nothing is counted twice and nothing is missing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from edge import pipeline
from edge.captures import choosing
from edge.decide.kept_state import state_from_plain, state_to_plain
from edge.decide.state import is_calm, resumed
from edge.keep import merging
from edge.keep.merging import Merging
from edge.measure import self_test, stepping
from edge.pipeline import Outputs, PipelineState
from edge.records import ConditionChange, HealthRow, IntervalRow, Record, Span
from edge.samples import SlowReading, SourceItem

SPANS = (Span.MINUTE, Span.TEN_SECONDS)
NONE_TAKEN = (-1, -1)


@dataclass(frozen=True, slots=True, eq=False)
class Carried:
    """taken: of a stored source, the start counter of each insulator's newest row of each span."""

    pipeline: PipelineState
    merging: Merging = field(default_factory=Merging)
    is_stored: bool = False
    taken: Mapping[str, tuple[int, int]] = field(default_factory=dict)


def step(carried: Carried, item: SourceItem | HealthRow) -> tuple[Carried, tuple[Record, ...]]:
    """The records that an item makes due, in order."""
    if carried.is_stored and not isinstance(item, HealthRow | SlowReading):
        state, outputs = _passed_over(carried, item)
    else:
        state, outputs = pipeline.step(carried.pipeline, item)
    if not outputs.records:
        return replace(carried, pipeline=state), ()
    quiet = _all_calm(carried.pipeline) and _all_calm(state)
    quiet = quiet and not any(isinstance(one, ConditionChange) for one in outputs.records)
    kept, records = _merged(carried.merging, outputs, quiet)
    taken = _taken(carried.taken, outputs) if carried.is_stored else carried.taken
    return replace(carried, pipeline=state, merging=kept, taken=taken), records


def _passed_over(carried: Carried, item: SourceItem) -> tuple[PipelineState, Outputs]:
    """The pipeline's step without the rows that were taken in before a restart."""
    measure, found = stepping.step(carried.pipeline.measure, item)
    fresh = tuple(
        row
        for row in found.rows
        if row.start_counter > carried.taken.get(row.insulator, NONE_TAKEN)[SPANS.index(row.span)]
    )
    state = replace(carried.pipeline, measure=measure)
    return pipeline.decided(state, fresh, found.windows, found.captured)


def _taken(taken: Mapping[str, tuple[int, int]], outputs: Outputs) -> Mapping[str, tuple[int, int]]:
    newest = dict(taken)
    for row in outputs.records:
        if isinstance(row, IntervalRow):
            marks = list(newest.get(row.insulator, NONE_TAKEN))
            marks[SPANS.index(row.span)] = row.start_counter
            newest[row.insulator] = (marks[0], marks[1])
    return newest


def _all_calm(state: PipelineState) -> bool:
    return all(is_calm(state.decide, insulator) for insulator in state.plan.insulators)


def _merged(kept: Merging, outputs: Outputs, quiet: bool) -> tuple[Merging, tuple[Record, ...]]:
    records: list[Record] = []
    for record in outputs.records:
        if isinstance(record, IntervalRow):
            kept, rows = merging.step(kept, record, quiet)
            records += rows
        else:
            records.append(record)
    return kept, tuple(records)


def flushed(carried: Carried) -> tuple[Carried, tuple[Record, ...]]:
    """With nothing held back."""
    kept, rows = merging.flush(carried.merging)
    return replace(carried, merging=kept), rows


def as_plain(carried: Carried) -> dict[str, object]:
    """What the durable file keeps, as JSON values by name."""
    return {
        "decide": state_to_plain(carried.pipeline.decide),
        "merging": merging.as_plain(carried.merging),
        "taken": {name: list(marks) for name, marks in carried.taken.items()},
        "weather": carried.pipeline.weather_us,
        "captures": choosing.as_plain(carried.pipeline.choosing),
        "self-test": self_test.as_plain(carried.pipeline.self_tests),
    }


def from_plain(fresh: Carried, plain: Mapping[str, Any], *, same_signal: bool) -> Carried:
    """Carried on from what the file keeps. Raises StateFault.

    same_signal: a stored source is played again from its beginning, under the same counters.
    """
    decide = state_from_plain(plain["decide"])
    insulators = {
        name: decide.insulators.get(name, nothing_seen)
        for name, nothing_seen in fresh.pipeline.decide.insulators.items()
    }
    decide = replace(decide, insulators=insulators)
    state = replace(
        fresh.pipeline,
        decide=decide if same_signal else resumed(decide),
        choosing=choosing.from_plain(plain["captures"]),
        self_tests=self_test.from_plain(plain["self-test"]),
    )
    carried = replace(fresh, pipeline=state, merging=merging.from_plain(plain["merging"]))
    if not same_signal:
        return carried
    taken = {name: (marks[0], marks[1]) for name, marks in plain["taken"].items()}
    return replace(carried, pipeline=replace(state, weather_us=plain["weather"]), taken=taken)
