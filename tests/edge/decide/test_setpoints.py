"""The set-point alone: its table, limits, delays, loss."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.decide.setpoints import (
    CONDITION_OF,
    NEXT_PHASE,
    QUIET_WATCH,
    RUNS_ON,
    Delays,
    Limit,
    Observation,
    Phase,
    Side,
    Stimulus,
    Watch,
    judge,
    phase_diagram,
    step_watch,
)
from edge.records import Condition

DELAYS = Delays(on_us=3, off_us=5, lost_after_us=4)


def seen(stimulus: Stimulus, cover_us: int = 1, start_us: int = 100) -> Observation:
    """One microsecond of a stimulus, unless said otherwise."""
    end_us = start_us + cover_us
    return Observation(stimulus, cover_us, start_us, start_us, end_us, end_us, start_us)


def test_table_of_phases_knows_every_phase_with_every_stimulus() -> None:
    assert set(NEXT_PHASE) == set(product(Phase, Stimulus))
    assert set(CONDITION_OF) == set(Phase)
    assert set(RUNS_ON) <= set(NEXT_PHASE)


@pytest.mark.parametrize("stimulus", [Stimulus.LOST, Stimulus.HELD, Stimulus.DEADBAND])
@pytest.mark.parametrize("phase", list(Phase))
def test_what_proves_nothing_moves_no_phase(phase: Phase, stimulus: Stimulus) -> None:
    assert NEXT_PHASE[phase, stimulus] is phase


def test_only_a_finished_off_delay_leads_from_in_to_out() -> None:
    leads_out = {
        (phase, stimulus)
        for (phase, stimulus), after in NEXT_PHASE.items()
        if CONDITION_OF[phase] is Condition.IN and CONDITION_OF[after] is Condition.OUT
    }
    assert leads_out == {(Phase.PENDING_OUT, Stimulus.DELAY_DONE)}


def test_diagram_draws_each_change_of_phase_of_the_table() -> None:
    drawn = {line.split(" : ")[0].strip() for line in phase_diagram().splitlines() if " : " in line}
    wanted = {
        f"{phase.value} --> {after.value}".replace("pending-", "pending_")
        for (phase, _), after in NEXT_PHASE.items()
        if phase is not after
    }
    assert drawn == wanted
    assert phase_diagram().startswith("stateDiagram-v2\n    [*] --> quiet\n")


@pytest.mark.parametrize(
    ("side", "amount", "stimulus"),
    [
        (Side.HIGH, 10, Stimulus.AT_LIMIT),
        (Side.HIGH, 9, Stimulus.DEADBAND),
        (Side.HIGH, 7, Stimulus.DEADBAND),
        (Side.HIGH, 6, Stimulus.CLEAR),
        (Side.LOW, 10, Stimulus.AT_LIMIT),
        (Side.LOW, 11, Stimulus.DEADBAND),
        (Side.LOW, 13, Stimulus.DEADBAND),
        (Side.LOW, 14, Stimulus.CLEAR),
    ],
)
def test_limit_belongs_to_too_far_and_the_end_of_the_deadband_to_the_deadband(
    side: Side, amount: int, stimulus: Stimulus
) -> None:
    assert judge(Limit("peak_ua", "uA", 10, 3, side), amount) is stimulus


def test_limit_without_deadband_is_clear_one_unit_below() -> None:
    assert judge(Limit("peak_ua", "uA", 10, 0), 9) is Stimulus.CLEAR


@given(
    st.lists(
        st.tuples(st.sampled_from([s for s in Stimulus if s != "delay-done"]), st.integers(1, 4))
    )
)
def test_condition_follows_a_plain_retelling_of_the_delays(
    pieces: list[tuple[Stimulus, int]],
) -> None:
    watch, at_us, told = QUIET_WATCH, 1000, Condition.OUT
    is_in, ran_on, ran_off, lost = False, 0, 0, 0
    for stimulus, cover_us in pieces:
        watch, turns = step_watch(watch, seen(stimulus, cover_us, at_us), DELAYS)
        at_us += cover_us
        told = turns[-1].condition if turns else told
        lost = lost + cover_us if stimulus is Stimulus.LOST else lost * (stimulus is Stimulus.HELD)
        if stimulus in (Stimulus.AT_LIMIT, Stimulus.AT_ONCE):
            ran_off, ran_on = 0, 0 if is_in else ran_on + cover_us
            is_in = is_in or stimulus is Stimulus.AT_ONCE or ran_on >= DELAYS.on_us
        elif stimulus is Stimulus.CLEAR:
            ran_on, ran_off = 0, ran_off + cover_us if is_in else 0
            is_in = is_in and ran_off < DELAYS.off_us
        ran_on, ran_off = ran_on * (not is_in), ran_off * is_in
        assert (CONDITION_OF[watch.phase] is Condition.IN) == is_in
        wanted = Condition.IN if is_in else Condition.OUT
        assert told is (Condition.UNKNOWN if lost >= DELAYS.lost_after_us else wanted)


def test_unknown_is_said_once_however_long_data_are_lost() -> None:
    watch, said = QUIET_WATCH, []
    for start_us in range(100, 120):
        watch, turns = step_watch(watch, seen(Stimulus.LOST, 1, start_us), DELAYS)
        said += turns
    assert [(turn.condition, turn.since_us) for turn in said] == [(Condition.UNKNOWN, 100)]


def test_good_data_after_a_short_loss_says_nothing_and_forgets_the_loss() -> None:
    watch = Watch(phase=Phase.PENDING_OUT, run_us=2, lost_us=3, lost_from_us=90)
    after, turns = step_watch(watch, seen(Stimulus.CLEAR), DELAYS)
    assert turns == ()
    assert (after.lost_us, after.run_us) == (0, 3)


def test_row_that_began_before_the_condition_went_in_does_not_start_to_clear_it() -> None:
    watch, _ = step_watch(QUIET_WATCH, seen(Stimulus.AT_ONCE, 10, 500), DELAYS)
    held, _ = step_watch(watch, seen(Stimulus.CLEAR, 4, 506), DELAYS)
    assert held.phase is Phase.IN
    moved, _ = step_watch(watch, seen(Stimulus.CLEAR, 4, 510), DELAYS)
    assert moved.phase is Phase.PENDING_OUT
