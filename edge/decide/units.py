"""Health and weather rows: the part of the step that watches the unit and the air."""

from __future__ import annotations

from dataclasses import replace

from edge.decide.binding import DecisionPlan
from edge.decide.definitions import Alarm
from edge.decide.insulators import settled, woken
from edge.decide.marks import is_late_by_clock
from edge.decide.rules import UNIT_RULES, WEATHER_STALE_US, Reading
from edge.decide.setpoints import Stimulus, judge
from edge.decide.state import NO_ATTENTION, Air, Attention, DecideState
from edge.decide.weighing import Changes, Piece, weigh
from edge.quantities import Flag
from edge.records import HealthRow, LineStatus, WeatherRow

_DARK = Reading(Stimulus.LOST, reason="source not alive")


def step_health(
    state: DecideState, row: HealthRow, plan: DecisionPlan
) -> tuple[DecideState, Changes]:
    """The unit's own alarms, the line's status, and lost data while the source is dead."""
    if _is_late(row, state.health_start_us):
        return state, ()
    watches = state.unit
    changes: Changes = ()
    for bound in plan.unit:
        reading = UNIT_RULES[bound.definition.id](row, bound)
        watches, said = weigh(watches, bound, reading, row.duration_us, _piece(row, ""), plan)
        changes = (*changes, *said)
    heard = replace(state, unit=watches, health_start_us=row.start_us, line=row.line_status)
    if row.source_alive:
        return heard, changes
    return _in_the_dark(heard, row, plan, changes)


def _in_the_dark(
    state: DecideState, row: HealthRow, plan: DecisionPlan, changes: Changes
) -> tuple[DecideState, Changes]:
    insulators = dict(state.insulators)
    for insulator in plan.insulators:
        kept = insulators.get(insulator, NO_ATTENTION)
        insulators[insulator], said = _lose(state, kept, insulator, row, plan)
        changes += said
    return replace(state, insulators=insulators), changes


def _lose(
    state: DecideState, kept: Attention, insulator: str, row: HealthRow, plan: DecisionPlan
) -> tuple[Attention, Changes]:
    watches, piece = kept.watches, _piece(row, insulator)
    changes: Changes = ()
    held = set()
    if not state.air.is_dry:
        held.add(Alarm.DRY_AIR_CURRENT)
    if row.line_status is LineStatus.OUT_OF_SERVICE:
        held.add(Alarm.SENSOR_FAILED)
    for bound in plan.insulators[insulator]:
        if bound.definition.id not in held:
            watches, said = weigh(watches, bound, _DARK, row.duration_us, piece, plan)
            changes = (*changes, *said)
    dark_us = kept.dark_us + row.duration_us
    return settled(replace(woken(kept), watches=watches, dark_us=dark_us, damp=False)), changes


def step_weather(state: DecideState, row: WeatherRow, plan: DecisionPlan) -> DecideState:
    """Dryness of the air: humidity under the limit and no rain, counted in seconds of data.

    Rain that is not measured is not held against dryness (it would raise the humidity). Missing
    humidity pauses the count; rows missing for long end it.
    """
    air = state.air
    if _is_late(row, air.start_us):
        return state
    dry_us = 0 if row.start_us - air.end_us > WEATHER_STALE_US else air.dry_us
    if row.rain_um or (row.rh_cpct is not None and _is_humid(row.rh_cpct, plan)):
        dry_us = 0
    elif row.rh_cpct is not None:
        dry_us += row.duration_us
    long_us = plan.dry_air.limits["air_dry_us"].at
    is_dry = row.rh_cpct is not None and dry_us >= long_us
    end_us = row.start_us + row.duration_us
    return replace(state, air=Air(row.start_us, end_us, dry_us, row.rh_cpct, is_dry))


def _is_humid(rh_cpct: int, plan: DecisionPlan) -> bool:
    return judge(plan.dry_air.limits["rh_cpct"], rh_cpct) is Stimulus.AT_LIMIT


def _is_late(row: HealthRow | WeatherRow, last_start_us: int) -> bool:
    return Flag.CLOCK_STEP not in row.flags and is_late_by_clock(row.start_us, last_start_us)


def _piece(row: HealthRow, subject: str) -> Piece:
    return Piece(subject, row.start_us, 0, row.start_us + row.duration_us, 0, row.flags)
