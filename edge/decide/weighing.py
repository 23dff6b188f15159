"""One reading into one watch, and the record of what turned."""

from __future__ import annotations

from dataclasses import dataclass

from edge.decide.binding import Bound, DecisionPlan
from edge.decide.definitions import Alarm
from edge.decide.rules import Reading
from edge.decide.setpoints import (
    QUIET_WATCH,
    Observation,
    Stimulus,
    Turn,
    Watch,
    step_watch,
)
from edge.records import Condition, ConditionChange

Watches = dict[Alarm, Watch]
Changes = tuple[ConditionChange, ...]

LEAVES_QUIET_ALONE = (Stimulus.CLEAR, Stimulus.HELD, Stimulus.DEADBAND)
"""What a quiet watch, which is not even kept, need not be told."""


@dataclass(frozen=True, slots=True)
class Piece:
    """The piece of time that a reading stands for: a row, or the gap before it.

    at_us, at_counter: its end, the event time of what it decides; the counter is 0 for the unit,
    which has none. flags: doubt that the record of a change carries on.
    """

    subject: str
    start_us: int
    start_counter: int
    at_us: int
    at_counter: int
    flags: tuple[str, ...]


def weigh(
    watches: Watches,
    bound: Bound,
    reading: Reading,
    cover_us: int,
    piece: Piece,
    plan: DecisionPlan,
) -> tuple[Watches, Changes]:
    """The watches after one reading of one alarm; an absent watch is quiet.

    cover_us: good data that the reading stands for, or the time lost.
    """
    alarm = bound.definition.id
    watch = watches.get(alarm)
    if watch is None and reading.stimulus in LEAVES_QUIET_ALONE:
        return watches, ()
    seen = Observation(
        stimulus=reading.stimulus,
        cover_us=cover_us,
        start_us=piece.start_us,
        start_counter=piece.start_counter,
        at_us=piece.at_us,
        at_counter=piece.at_counter,
        crossed_us=piece.start_us + reading.crossed_us,
        reason=reading.reason,
    )
    after, turns = step_watch(watch or QUIET_WATCH, seen, bound.delays)
    if after is watch:
        return watches, ()
    rest = {name: kept for name, kept in watches.items() if name is not alarm}
    renewed = rest if after == QUIET_WATCH else {**rest, alarm: after}
    return renewed, tuple(_change(turn, bound, reading, after, piece, plan) for turn in turns)


def _change(
    turn: Turn, bound: Bound, reading: Reading, after: Watch, piece: Piece, plan: DecisionPlan
) -> ConditionChange:
    lost = turn.condition is Condition.UNKNOWN
    return ConditionChange(
        alarm=bound.definition.id.value,
        subject=piece.subject,
        condition=turn.condition,
        priority=bound.definition.priority,
        latched=bound.definition.latched,
        at_us=piece.at_us,
        at_counter=piece.at_counter,
        since_us=turn.since_us,
        deciding={"lost_us": after.lost_us} if lost else dict(reading.deciding),
        limits={"lost_after_us": bound.delays.lost_after_us}
        if lost
        else {limit.quantity: limit.at for limit in bound.definition.limits},
        reason=turn.reason or reading.reason,
        settings_sha=plan.settings_sha,
        flags=piece.flags,
    )
