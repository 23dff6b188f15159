"""What is passed over could not have changed anything: the same changes, the same state."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import example, given, settings
from hypothesis import strategies as st

from edge.decide.evaluation import DecidedRecord, decision_order, step
from edge.decide.state import DecideState, initial, resumed
from edge.records import ConditionChange, IntervalRow
from gateway.replay.passing_over import decided_over
from gateway.replay.unit_rows import UnitRows, each_row, unit_rows
from tests.gateway.build import interval
from tests.gateway.replay.stories import NAMES, PLAN, told

FULL = 37
"""The seed of a story with every alarm in it."""


def one_by_one(
    state: DecideState, rows: list[DecidedRecord]
) -> tuple[DecideState, list[ConditionChange]]:
    """Whole rows through the step itself."""
    changes: list[ConditionChange] = []

    def order(row: DecidedRecord) -> tuple[int, int, int, int]:
        place = NAMES.index(row.insulator) if isinstance(row, IntervalRow) else 0
        return *decision_order(row), place, row.start_us

    for row in sorted(rows, key=order):
        state, said = step(state, row, PLAN)
        changes += said
    return state, changes


@settings(max_examples=4, deadline=None)
@example(FULL)
@given(st.integers(0, 1 << 30))
def test_passing_over_says_and_remembers_what_every_single_step_does(seed: int) -> None:
    rows = told(seed, minutes=500)
    state, changes = one_by_one(initial(PLAN), rows)
    found = decided_over(initial(PLAN), unit_rows(rows, NAMES), PLAN)
    assert list(found.changes) == changes
    assert found.state == state


@settings(max_examples=3, deadline=None)
@given(st.integers(0, 1 << 30), st.integers(1, 299))
def test_rows_cut_anywhere_are_decided_as_in_one_piece(seed: int, minute: int) -> None:
    rows = sorted(told(seed, minutes=300), key=decision_order)
    at = len(rows) * minute // 300
    at += sum(decision_order(one)[0] == decision_order(rows[at - 1])[0] for one in rows[at:])
    pieces = unit_rows(rows[:at], NAMES), unit_rows(rows[at:], NAMES)
    first = decided_over(initial(PLAN), pieces[0], PLAN)
    second = decided_over(first.state, pieces[1], PLAN)
    state, changes = one_by_one(initial(PLAN), rows)
    assert [*first.changes, *second.changes] == changes
    assert second.state == state


def test_stories_have_every_alarm_so_that_agreeing_means_something() -> None:
    _, changes = one_by_one(initial(PLAN), told(FULL, minutes=500))
    seen = {(one.alarm, one.condition.value) for one in changes}
    alarms = {bound.definition.id.value for bound in (*PLAN.insulators["A1"], *PLAN.unit)}
    assert {alarm for alarm, _ in seen} == alarms
    assert {("arcing", "unknown"), ("near-margin", "out"), ("dry-air-current", "in")} <= seen


def test_a_calm_week_is_passed_over_whole() -> None:
    calm = [interval(minute, name, arcing_halfcycles=0) for minute in range(500) for name in NAMES]
    found = decided_over(initial(PLAN), unit_rows(calm, NAMES), PLAN)
    assert (found.rows, found.stepped, found.changes) == (1500, 0, ())
    assert found.state == initial(PLAN)


def test_an_insulator_that_has_attention_is_stepped_until_it_idles_again() -> None:
    story = [interval(0, "A1", arcing_halfcycles=2, first_arc_us=0, last_arc_us=1)]
    story += [interval(minute, "A1", arcing_halfcycles=0) for minute in range(1, 500)]
    found = decided_over(initial(PLAN), unit_rows(story, NAMES), PLAN)
    assert 0 < found.stepped < 10


def test_a_state_after_a_restart_goes_on_the_same_way() -> None:
    rows = told(5, minutes=250)
    state = resumed(one_by_one(initial(PLAN), told(4, minutes=300))[0])
    found = decided_over(state, unit_rows(rows, NAMES), PLAN)
    assert (found.state, list(found.changes)) == one_by_one(state, rows)


def test_each_row_gives_rows_on_which_deciding_says_the_same() -> None:
    rows = told(9, minutes=250)
    unit = unit_rows(rows, NAMES)
    state, changes = initial(PLAN), []
    for row in each_row(unit):
        state, said = step(state, row, PLAN)
        changes += said
    assert (state, changes) == one_by_one(initial(PLAN), rows)


def test_a_careless_quietness_is_found_out() -> None:
    """The twin that passes over arcs agrees with nobody."""
    unit = unit_rows(told(3, minutes=250), NAMES)
    careless = UnitRows(
        {
            name: replace(rows, columns={**rows.columns, "arcing_halfcycles": 0 * rows.ends_us})
            for name, rows in unit.insulators.items()
        },
        unit.weather,
        unit.health,
    )
    found = decided_over(initial(PLAN), careless, PLAN)
    assert list(found.changes) != one_by_one(initial(PLAN), told(3, minutes=250))[1]
