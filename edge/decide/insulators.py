"""Interval rows: the part of the step that watches one insulator."""

from __future__ import annotations

from dataclasses import replace

from edge.decide.binding import Bound, DecisionPlan
from edge.decide.definitions import Alarm
from edge.decide.marks import gap_us, is_late, next_trail
from edge.decide.rules import (
    INSULATOR_RULES,
    SENSOR_FLAGS,
    Reading,
    Sight,
    air_is_known_dry,
    conducting_ppm,
    good_us,
    loss_of,
)
from edge.decide.setpoints import Stimulus, judge
from edge.decide.state import NO_ATTENTION, Attention, DecideState
from edge.decide.weighing import LEAVES_QUIET_ALONE, Changes, Piece, Watches, weigh
from edge.quantities import State
from edge.records import IntervalRow, Span

_GAP = Reading(Stimulus.LOST, reason="gap in the rows")


class NotWatched(LookupError):
    """A row speaks of an insulator that the plan does not name: plan and rows do not belong."""


def is_quiet(row: IntervalRow, air_is_dry: bool) -> bool:
    """Whether every rule would find the row clear or held: the cheap way for most rows."""
    surface = row.state
    return (
        (surface is State.DRY or (surface is State.WET and not air_is_dry))
        and not row.arcing_halfcycles
        and not row.clipped_halfcycles
        and row.silent_from_us is None
        and (not row.flags or SENSOR_FLAGS.isdisjoint(row.flags))
    )


def step_interval(
    state: DecideState, row: IntervalRow, plan: DecisionPlan
) -> tuple[DecideState, Changes]:
    """The state after one row that is not quiet, or of an insulator that has its attention."""
    bounds = plan.insulators.get(row.insulator)
    if bounds is None:
        raise NotWatched(
            f"row of insulator {row.insulator!r}: the plan names {sorted(plan.insulators)}; "
            "bind the insulator, or decide with the settings that the row was made with"
        )
    kept = state.insulators.get(row.insulator, NO_ATTENTION)
    if row.span is Span.TEN_SECONDS:
        renewed, changes = _step_tens(state, kept, row, bounds, plan)
    else:
        renewed, changes = _step_minutes(state, kept, row, bounds, plan)
    if renewed is kept:
        return state, ()
    return replace(state, insulators={**state.insulators, row.insulator: renewed}), changes


def _step_minutes(
    state: DecideState,
    kept: Attention,
    row: IntervalRow,
    bounds: tuple[Bound, ...],
    plan: DecisionPlan,
) -> tuple[Attention, Changes]:
    if not row.duration_us or is_late(row, kept.minutes):
        return kept, ()
    watches, changes = _over_gap(kept, row, bounds, plan)
    sight = _sight(state, row, kept.minutes.since_arc_us)
    piece = _piece(row, plan)
    for bound in bounds:
        alarm = bound.definition.id
        reading = INSULATOR_RULES[alarm](sight, bound)
        if reading.stimulus in LEAVES_QUIET_ALONE and alarm not in watches:
            continue
        whole = reading.whole_row or reading.stimulus is Stimulus.LOST
        cover_us = row.duration_us if whole else sight.good_us
        watches, said = weigh(watches, bound, reading, cover_us, piece, plan)
        changes += said
    trail = next_trail(sight, _arc_reach_us(bounds), piece.at_counter)
    return settled(Attention(watches, trail, kept.tens, 0, _is_damp(sight, plan))), changes


def _over_gap(
    kept: Attention, row: IntervalRow, bounds: tuple[Bound, ...], plan: DecisionPlan
) -> tuple[Watches, Changes]:
    """Time without rows is lost time, as far as health records have not counted it already."""
    missing_us = 0 if kept.idle else gap_us(row, kept.minutes, plan) - kept.dark_us
    watches = kept.watches
    changes: Changes = ()
    if missing_us <= 0:
        return watches, ()
    start_us = row.start_us - missing_us
    start_counter = kept.minutes.end_counter
    piece = Piece(
        row.insulator, start_us, start_counter, row.start_us, row.start_counter, row.flags
    )
    for bound in bounds:
        if bound.definition.id is not Alarm.DRY_AIR_CURRENT or bound.definition.id in watches:
            watches, said = weigh(watches, bound, _GAP, missing_us, piece, plan)
            changes = (*changes, *said)
    return watches, changes


def _step_tens(
    state: DecideState,
    kept: Attention,
    row: IntervalRow,
    bounds: tuple[Bound, ...],
    plan: DecisionPlan,
) -> tuple[Attention, Changes]:
    """Only what needs no delay, and only to raise it: the same time comes again as minutes."""
    if not row.duration_us or is_late(row, kept.tens):
        return kept, ()
    since_arc_us = None if gap_us(row, kept.tens, plan) else kept.tens.since_arc_us
    sight = _sight(state, row, since_arc_us)
    piece, watches = _piece(row, plan), kept.watches
    changes: Changes = ()
    for bound in bounds:
        reading = INSULATOR_RULES[bound.definition.id](sight, bound)
        undelayed = reading.stimulus is Stimulus.AT_LIMIT and not bound.delays.on_us
        if undelayed or reading.stimulus is Stimulus.AT_ONCE:
            at_once = replace(reading, stimulus=Stimulus.AT_ONCE)
            watches, said = weigh(watches, bound, at_once, 0, piece, plan)
            changes = (*changes, *said)
    trail = next_trail(sight, _arc_reach_us(bounds), piece.at_counter)
    return settled(replace(woken(kept), watches=watches, tens=trail)), changes


def woken(kept: Attention) -> Attention:
    """Before something other than a minute row ends the idling.

    Quiet rows do not renew the trail of an idle insulator, so its end tells no gap.
    """
    return replace(kept, minutes=replace(kept.minutes, end_us=0)) if kept.idle else kept


def settled(kept: Attention) -> Attention:
    """With `idle` told anew. Ten-second rows end when arcing does, so their trail is no part."""
    idle = (
        not kept.watches
        and kept.minutes.since_arc_us is None
        and not kept.damp
        and not kept.dark_us
    )
    return kept if idle is kept.idle else replace(kept, idle=idle)


def _sight(state: DecideState, row: IntervalRow, since_arc_us: int | None) -> Sight:
    judged_us = max(0, good_us(row))
    return Sight(
        row=row,
        good_us=judged_us,
        loss=loss_of(row, judged_us),
        since_arc_us=since_arc_us,
        air=state.air,
        siblings_quiet=_siblings_quiet(state, row),
        line=state.line,
    )


def _piece(row: IntervalRow, plan: DecisionPlan) -> Piece:
    return Piece(
        subject=row.insulator,
        start_us=row.start_us,
        start_counter=row.start_counter,
        at_us=row.start_us + row.duration_us,
        at_counter=plan.counter_at(row.start_counter, row.duration_us),
        flags=row.flags,
    )


def _arc_reach_us(bounds: tuple[Bound, ...]) -> int:
    """How long an arc stays of interest, in good data."""
    for bound in bounds:
        if bound.definition.id is Alarm.FLASHOVER_SUSPECTED:
            return bound.limits["arc_to_silence_us"].at
    raise AssertionError("every plan binds flashover-suspected; check_definitions sees to it")


def _siblings_quiet(state: DecideState, row: IntervalRow) -> bool:
    if not state.air.is_dry:
        return True  # no rule asks
    return not any(kept.damp for name, kept in state.insulators.items() if name != row.insulator)


def _is_damp(sight: Sight, plan: DecisionPlan) -> bool:
    if sight.loss or not air_is_known_dry(sight):
        return False
    share = plan.dry_air.limits["conducting_ppm"]
    return judge(share, conducting_ppm(sight)) is not Stimulus.CLEAR
