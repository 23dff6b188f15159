"""One set-point: a limit with a deadband, and delays that count seconds of good data.

A row's amount is first judged against the limit (`judge`), which gives a stimulus; the stimulus
moves the watch through `NEXT_PHASE`. Delays run only on rows that prove something: the on-delay on
rows at the limit, the off-delay on rows clear of limit and deadband. A row in the deadband, a row
that may not be judged and a gap pause both. Lost data never moves the phase: after a stated time
it is said that the condition is unknown, and good data brings back what it was.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from edge.records import Condition

GOOD_AGAIN = "good data again"
"""Reason of the change that takes an `unknown` back; the occurrence is the one before the loss."""


class Side(StrEnum):
    """On which side of its limit an amount is too far."""

    HIGH = "high"
    LOW = "low"


@dataclass(frozen=True, slots=True)
class Limit:
    """What one quantity is compared with; all in the integer unit of the quantity.

    at: reached means too far. deadband: how far back an amount must come before it is clear.
    """

    quantity: str
    unit: str
    at: int
    deadband: int
    side: Side = Side.HIGH


class Phase(StrEnum):
    """Where a watch stands."""

    QUIET = "quiet"
    PENDING_IN = "pending-in"
    IN = "in"
    PENDING_OUT = "pending-out"


class Stimulus(StrEnum):
    """What a row, a gap or a finished delay says to a watch."""

    AT_LIMIT = "at-limit"  # the amount is at the limit or beyond: the on-delay runs
    AT_ONCE = "at-once"  # severe enough to need no delay
    DEADBAND = "deadband"  # good data between clear and limit: delays pause
    CLEAR = "clear"  # the amount is clear of limit and deadband: the off-delay runs
    HELD = "held"  # by definition not to be judged now: everything pauses
    LOST = "lost"  # no good data
    DELAY_DONE = "delay-done"  # the running delay has counted its seconds


NEXT_PHASE: dict[tuple[Phase, Stimulus], Phase] = {
    (Phase.QUIET, Stimulus.AT_LIMIT): Phase.PENDING_IN,
    (Phase.QUIET, Stimulus.AT_ONCE): Phase.IN,
    (Phase.QUIET, Stimulus.DEADBAND): Phase.QUIET,
    (Phase.QUIET, Stimulus.CLEAR): Phase.QUIET,
    (Phase.QUIET, Stimulus.HELD): Phase.QUIET,
    (Phase.QUIET, Stimulus.LOST): Phase.QUIET,
    (Phase.QUIET, Stimulus.DELAY_DONE): Phase.QUIET,
    (Phase.PENDING_IN, Stimulus.AT_LIMIT): Phase.PENDING_IN,
    (Phase.PENDING_IN, Stimulus.AT_ONCE): Phase.IN,
    (Phase.PENDING_IN, Stimulus.DEADBAND): Phase.PENDING_IN,
    (Phase.PENDING_IN, Stimulus.CLEAR): Phase.QUIET,
    (Phase.PENDING_IN, Stimulus.HELD): Phase.PENDING_IN,
    (Phase.PENDING_IN, Stimulus.LOST): Phase.PENDING_IN,
    (Phase.PENDING_IN, Stimulus.DELAY_DONE): Phase.IN,
    (Phase.IN, Stimulus.AT_LIMIT): Phase.IN,
    (Phase.IN, Stimulus.AT_ONCE): Phase.IN,
    (Phase.IN, Stimulus.DEADBAND): Phase.IN,
    (Phase.IN, Stimulus.CLEAR): Phase.PENDING_OUT,
    (Phase.IN, Stimulus.HELD): Phase.IN,
    (Phase.IN, Stimulus.LOST): Phase.IN,
    (Phase.IN, Stimulus.DELAY_DONE): Phase.IN,
    (Phase.PENDING_OUT, Stimulus.AT_LIMIT): Phase.IN,
    (Phase.PENDING_OUT, Stimulus.AT_ONCE): Phase.IN,
    (Phase.PENDING_OUT, Stimulus.DEADBAND): Phase.PENDING_OUT,
    (Phase.PENDING_OUT, Stimulus.CLEAR): Phase.PENDING_OUT,
    (Phase.PENDING_OUT, Stimulus.HELD): Phase.PENDING_OUT,
    (Phase.PENDING_OUT, Stimulus.LOST): Phase.PENDING_OUT,
    (Phase.PENDING_OUT, Stimulus.DELAY_DONE): Phase.QUIET,
}

CONDITION_OF: dict[Phase, Condition] = {
    Phase.QUIET: Condition.OUT,
    Phase.PENDING_IN: Condition.OUT,
    Phase.IN: Condition.IN,
    Phase.PENDING_OUT: Condition.IN,
}


@dataclass(frozen=True, slots=True)
class Delays:
    """Seconds of good data, in us. lost_after_us: time without any before `unknown` is said."""

    on_us: int
    off_us: int
    lost_after_us: int


@dataclass(frozen=True, slots=True)
class Watch:
    """What is remembered of one set-point on one subject; all times UTC us, zero where not apt.

    run_us: good data that the running delay has counted. since_us: first crossing of the limit of
    the occurrence that is pending or in. clear_from_us: first clear row of a pending-out.
    in_us, in_counter: event time and sample counter at which it went in. lost_us: time without good
    data since lost_from_us. unknown: whether that was said.
    """

    phase: Phase = Phase.QUIET
    run_us: int = 0
    since_us: int = 0
    clear_from_us: int = 0
    in_us: int = 0
    in_counter: int = 0
    lost_us: int = 0
    lost_from_us: int = 0
    unknown: bool = False


QUIET_WATCH = Watch()


@dataclass(frozen=True, slots=True)
class Observation:
    """One stimulus and the piece of time that it stands for.

    cover_us: good data in it, or for LOST the time without. start_*: of the row or gap;
    at_*: its end, the event time. crossed_us: when the amount crossed within it.
    """

    stimulus: Stimulus
    cover_us: int
    start_us: int
    start_counter: int
    at_us: int
    at_counter: int
    crossed_us: int
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Turn:
    """A change to announce. since_us: first crossing; for `unknown`, since when data is lost."""

    condition: Condition
    since_us: int
    reason: str = ""


def judge(limit: Limit, amount: int) -> Stimulus:
    """AT_LIMIT, DEADBAND or CLEAR; the limit itself is too far, the far end of the deadband not."""
    beyond = amount - limit.at if limit.side is Side.HIGH else limit.at - amount
    if beyond >= 0:
        return Stimulus.AT_LIMIT
    return Stimulus.DEADBAND if beyond >= -limit.deadband else Stimulus.CLEAR


def step_watch(watch: Watch, seen: Observation, delays: Delays) -> tuple[Watch, tuple[Turn, ...]]:
    """The watch after one observation, and what is to be announced, in order."""
    if seen.stimulus is Stimulus.HELD:
        return _move(watch, Stimulus.HELD, seen), ()
    if seen.stimulus is Stimulus.LOST:
        moved, said = _lose(watch, seen, delays)
    else:
        known, said = _find_again(watch, seen)
        moved = _count(_move(known, _of_now(known, seen), seen), seen, delays)
    before, after = CONDITION_OF[watch.phase], CONDITION_OF[moved.phase]
    if before is not after:
        since_us = moved.since_us if after is Condition.IN else moved.clear_from_us
        said = (*said, Turn(after, since_us))
    settled = moved.phase is Phase.QUIET and moved.lost_us == 0
    return (QUIET_WATCH if settled else moved), said


def _of_now(watch: Watch, seen: Observation) -> Stimulus:
    """A row that began before the condition went in cannot help to clear it.

    Both clocks must say so: the counter restarts with a source, UTC may be stepped.
    """
    before = seen.start_us < watch.in_us and seen.start_counter < watch.in_counter
    if seen.stimulus is Stimulus.CLEAR and CONDITION_OF[watch.phase] is Condition.IN and before:
        return Stimulus.DEADBAND
    return seen.stimulus


def _find_again(watch: Watch, seen: Observation) -> tuple[Watch, tuple[Turn, ...]]:
    if watch.lost_us == 0:
        return watch, ()
    known = replace(watch, lost_us=0, lost_from_us=0, unknown=False)
    if not watch.unknown:
        return known, ()
    condition = CONDITION_OF[watch.phase]
    since_us = watch.since_us if condition is Condition.IN else seen.start_us
    return known, (Turn(condition, since_us, GOOD_AGAIN),)


def _lose(watch: Watch, seen: Observation, delays: Delays) -> tuple[Watch, tuple[Turn, ...]]:
    lost_us = watch.lost_us + seen.cover_us
    from_us = watch.lost_from_us if watch.lost_us else seen.start_us
    say = not watch.unknown and lost_us >= delays.lost_after_us
    lost = replace(
        _move(watch, Stimulus.LOST, seen),
        lost_us=lost_us,
        lost_from_us=from_us,
        unknown=watch.unknown or say,
    )
    return lost, (Turn(Condition.UNKNOWN, from_us, seen.reason),) if say else ()


def _move(watch: Watch, stimulus: Stimulus, seen: Observation) -> Watch:
    phase = NEXT_PHASE[watch.phase, stimulus]
    if phase is watch.phase:
        return watch
    moved = replace(watch, phase=phase, run_us=0)
    if watch.phase is Phase.QUIET:
        moved = replace(moved, since_us=seen.crossed_us)
    if CONDITION_OF[phase] is Condition.IN and CONDITION_OF[watch.phase] is Condition.OUT:
        moved = replace(moved, in_us=seen.at_us, in_counter=seen.at_counter)
    if phase is Phase.PENDING_OUT:
        moved = replace(moved, clear_from_us=seen.start_us)
    return moved


RUNS_ON: dict[tuple[Phase, Stimulus], str] = {
    (Phase.PENDING_IN, Stimulus.AT_LIMIT): "on_us",
    (Phase.PENDING_OUT, Stimulus.CLEAR): "off_us",
}
"""Which delay counts, and on what alone it counts."""


def _count(watch: Watch, seen: Observation, delays: Delays) -> Watch:
    delay = RUNS_ON.get((watch.phase, _of_now(watch, seen)))
    if delay is None:
        return watch
    run_us = watch.run_us + seen.cover_us
    delay_us = delays.on_us if delay == "on_us" else delays.off_us
    counted = replace(watch, run_us=run_us)
    return counted if run_us < delay_us else _move(counted, Stimulus.DELAY_DONE, seen)


def phase_diagram() -> str:
    """The table drawn as a Mermaid state diagram, one arrow for each pair of phases."""
    arrows: dict[tuple[Phase, Phase], list[str]] = {}
    for (phase, stimulus), after in NEXT_PHASE.items():
        if after is not phase:
            arrows.setdefault((phase, after), []).append(stimulus.value)
    named = {phase: phase.value.replace("-", "_") for phase in Phase}
    lines = ["stateDiagram-v2", f"    [*] --> {named[Phase.QUIET]}"]
    lines += [
        f"    {named[phase]} --> {named[after]} : {', '.join(stimuli)}"
        for (phase, after), stimuli in arrows.items()
    ]
    return "\n".join(lines) + "\n"
