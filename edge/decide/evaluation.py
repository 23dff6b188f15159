"""The step of `decide`: rows in, changes of condition out.

Rows are to come in the order in which they end; of those that end together weather first, then
health, then intervals (`decision_order`). Deciding again from stored rows in that order gives the
same changes, byte for byte: merged rows stand for dry minutes that changed nothing.

Minutes and merged rows carry the delays. Ten-second rows cover the same time once more, so they
only ever raise a condition that needs no delay; nothing of them is added up.
"""

from __future__ import annotations

from edge.decide.binding import DecisionPlan
from edge.decide.insulators import is_quiet, step_interval
from edge.decide.state import DecideState
from edge.decide.units import step_health, step_weather
from edge.decide.weighing import Changes
from edge.records import HealthRow, IntervalRow, WeatherRow

DecidedRecord = IntervalRow | HealthRow | WeatherRow

_ORDER: dict[type, int] = {WeatherRow: 0, HealthRow: 1, IntervalRow: 2}


def decision_order(record: DecidedRecord) -> tuple[int, int]:
    """Key for a stable sort of records into the order that `step` wants."""
    return record.start_us + record.duration_us, _ORDER[type(record)]


def step(
    state: DecideState, record: DecidedRecord, plan: DecisionPlan
) -> tuple[DecideState, Changes]:
    """The state after one record, and the condition changes that it decides.

    Late and repeated rows change nothing. Raises NotWatched for an insulator outside the plan.
    """
    if isinstance(record, IntervalRow):
        kept = state.insulators.get(record.insulator)
        if kept is not None and kept.idle and is_quiet(record, state.air.is_dry):
            return state, ()
        return step_interval(state, record, plan)
    if isinstance(record, HealthRow):
        return step_health(state, record, plan)
    return step_weather(state, record, plan), ()
