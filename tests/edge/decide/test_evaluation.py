"""The step: idling, clocks and restarts, kept state, what a change carries."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge.decide import evaluation
from edge.decide.binding import DecisionPlan
from edge.decide.evaluation import DecidedRecord, decision_order, step
from edge.decide.insulators import NotWatched
from edge.decide.kept_state import StateFault, state_from_plain, state_to_plain
from edge.decide.state import initial, is_calm, resumed
from edge.quantities import State
from edge.records import Condition, HealthRow, LineStatus, Span
from edge.wire import body_line
from tests.edge.decide.builders import (
    RATE_HZ,
    START_US,
    S,
    decided,
    decided_with_restarts,
    health,
    interval,
    minutes,
    plan_of,
    weather,
)


def arcing(count: int, from_s: float = 0, rate: int = 6) -> list[DecidedRecord]:
    """Minutes at the rate that raises."""
    return list(minutes(count, from_s, state=State.ARCING_SPARSE, arcing_halfcycles=rate))


def test_quiet_row_of_an_idle_insulator_gives_back_the_very_same_state() -> None:
    plan = plan_of()
    state = initial(plan)
    for surface in (State.DRY, State.WET):
        after, changes = step(state, interval(0, surface), plan)
        assert after is state
        assert changes == ()


def test_change_carries_event_time_counter_limits_and_the_integers_compared() -> None:
    _, changes = decided(arcing(3), plan_of())
    (change,) = changes
    assert change.at_us == START_US + 180 * S
    assert change.at_counter == 180 * RATE_HZ
    assert change.since_us == START_US
    assert change.deciding == {"arcing_halfcycles_per_min": 6, "arc_pulses_100ma": 0}
    assert change.limits == {"arcing_halfcycles_per_min": 6, "arc_pulses_100ma": 3}
    assert (change.priority, change.latched, change.settings_sha) == (2, False, "5e77")


def test_counter_is_that_of_the_row_where_no_rate_is_known() -> None:
    _, changes = decided(arcing(3), plan_of(rate_hz=None))
    assert changes[0].at_counter == 120 * RATE_HZ


def test_flags_of_the_deciding_row_travel_with_the_change() -> None:
    row = interval(0, "arcing-sparse", arcing_halfcycles=1, arcing_peak_ua=100_000, flags=("gap",))
    _, changes = decided([row], plan_of())
    assert [(each.alarm, each.flags) for each in changes] == [("near-margin", ("gap",))]


def test_suspected_flashover_is_latched_and_of_the_first_priority() -> None:
    row = interval(0, "arcing-dense", arcing_halfcycles=9, last_arc_us=S, silent_from_us=2 * S)
    _, changes = decided([row], plan_of())
    assert [(each.alarm, each.latched, each.priority) for each in changes] == [
        ("flashover-suspected", True, 1)
    ]
    assert changes[0].deciding == {"arc_to_silence_us": S}
    assert changes[0].limits == {"arc_to_silence_us": 2 * S}


def test_row_of_an_insulator_outside_the_plan_is_no_silent_loss() -> None:
    with pytest.raises(NotWatched, match="'c'"):
        decided([interval(0, insulator="c")], plan_of("a", "b"))


def test_delays_run_through_a_clock_stepped_back_by_an_hour() -> None:
    first, *rest = arcing(3, 7200)
    stepped = [
        interval(
            row.start_us // S - START_US // S - 3600,
            "arcing-sparse",
            arcing_halfcycles=6,
            start_counter=row.start_counter,
        )
        for row in rest
    ]
    _, changes = decided([first, *stepped], plan_of())
    assert [each.condition for each in changes] == [Condition.IN]


def test_delays_run_through_a_clock_stepped_forward_by_a_day_without_a_gap() -> None:
    first, second, third = arcing(3)
    stepped = interval(
        86_400 + 120, "arcing-sparse", arcing_halfcycles=6, start_counter=third.start_counter
    )
    _, changes = decided([first, second, stepped], plan_of())
    assert [each.condition for each in changes] == [Condition.IN]


def test_counters_that_begin_anew_after_a_restart_are_not_late() -> None:
    plan = plan_of()
    state, _ = decided(arcing(2, 3600), plan)
    row = interval(3600 + 150, "arcing-sparse", arcing_halfcycles=6, start_counter=0)
    _, changes = decided([row], plan, resumed(state))
    assert [each.condition for each in changes] == [Condition.IN]
    back = interval(1800, "arcing-sparse", arcing_halfcycles=6, start_counter=0)
    assert step(state, back, plan)[0] is state  # without the restart this is a late row
    assert decided([back], plan, resumed(state))[1][0].condition is Condition.IN


def test_long_idling_before_a_dark_minute_is_no_gap() -> None:
    rows: list[DecidedRecord] = [
        *arcing(1, rate=1),
        *minutes(5, 60),
        *minutes(1, 9000),
        health(9060, source_alive=False),
        *minutes(1, 9120),
    ]
    assert decided(rows, plan_of())[1] == []


def test_long_idling_before_a_ten_second_alarm_is_no_gap() -> None:
    rows: list[DecidedRecord] = [
        *arcing(1, rate=1),
        *minutes(100, 60),
        interval(
            9000,
            "arcing-sparse",
            span=Span.TEN_SECONDS,
            arcing_halfcycles=3,
            arc_pulses=(3, 3, 3, 3, 0),
        ),
        interval(9000, "arcing-sparse", arcing_halfcycles=3, arc_pulses=(3, 3, 3, 3, 0)),
    ]
    _, changes = decided(rows, plan_of())
    assert [(each.alarm, each.condition) for each in changes] == [("arcing", Condition.IN)]


def test_insulator_is_calm_only_while_all_is_out_and_no_delay_runs() -> None:
    plan = plan_of()
    pending, _ = decided(arcing(1), plan)
    lost, _ = decided([interval(0, "unknown")], plan)
    quiet, _ = decided([*arcing(1), *minutes(1, 60)], plan)
    assert [is_calm(state, "a") for state in (initial(plan), pending, lost, quiet)] == [
        True,
        False,
        False,
        True,
    ]


def test_late_health_row_changes_nothing_but_a_stepped_clock_is_followed() -> None:
    plan = plan_of()
    dark: list[HealthRow] = [health(7200, storage_free_ppm=0)]
    state, said = decided(dark, plan)
    assert [each.alarm for each in said] == ["storage"]
    assert step(state, health(7140), plan)[0] is state
    assert step(state, health(7200), plan)[0] is state
    assert step(state, health(3600, flags=("clock-step",)), plan)[0] is not state
    assert step(state, health(7200 - 86_400), plan)[0] is not state


def test_minutes_merged_while_calm_change_no_decision() -> None:
    plan = plan_of()
    apart = [*minutes(10), *arcing(3, 600), *minutes(60, 780)]
    merged = [interval(0, span=Span.MERGED, seconds=600), *arcing(3, 600), *minutes(60, 780)]
    assert [body_line(each) for each in decided(apart, plan)[1]] == [
        body_line(each) for each in decided(merged, plan)[1]
    ]


def test_records_that_end_together_are_decided_weather_first_and_intervals_last() -> None:
    rows: list[DecidedRecord] = [interval(0), health(0), weather(0, 5500), interval(-60)]
    ordered = [type(row).__name__ for row in sorted(rows, key=decision_order)]
    assert ordered == ["IntervalRow", "WeatherRow", "HealthRow", "IntervalRow"]


@pytest.mark.parametrize(
    "spoil",
    [
        lambda plain: plain | {"version": 2},
        lambda plain: {name: part for name, part in plain.items() if name != "air"},
        lambda plain: plain | {"line": "sideways"},
        lambda plain: plain | {"air": {"dry_us": 1}},
        lambda plain: plain | {"unit": {"storage": {"phase": "quiet", "run_us": "x"}}},
        lambda plain: plain | {"insulators": {"a": []}},
    ],
)
def test_kept_state_that_is_not_what_was_written_is_refused(spoil: object) -> None:
    state, _ = decided(arcing(3), plan_of())
    with pytest.raises(StateFault, match="kept state"):
        state_from_plain(spoil(state_to_plain(state)))  # type: ignore[operator]


def test_decide_loads_without_arrays_validation_or_any_other_part() -> None:
    source = (
        "import sys, edge.decide\n"
        "print([m for m in sys.modules if m.split('.')[0] in ('numpy', 'pydantic')"
        " or m.startswith(('edge.measure', 'edge.wire', 'edge.samples', 'edge.settings'))])"
    )
    found = subprocess.run(
        [sys.executable, "-c", source], capture_output=True, text=True, check=True
    )
    assert found.stdout.strip() == "[]"


ROWS = st.lists(
    st.one_of(
        st.sampled_from(
            [
                ("dry", {}),
                ("dry", {}),
                ("wet", {}),
                ("unknown", {}),
                ("unknown", {"flags": ("sensor-fault",)}),
                ("de-energised", {"silent_from_us": 0}),
                ("arcing-sparse", {"arcing_halfcycles": 6}),
                ("arcing-sparse", {"arcing_halfcycles": 1, "arcing_peak_ua": 100_000}),
                ("arcing-dense", {"arcing_halfcycles": 500, "last_arc_us": 59_500_000}),
                ("wet", {"clipped_halfcycles": 3}),
            ]
        ),
        st.sampled_from(["rain", "humid", "dry air", "dark", "out of service", "skip"]),
    ),
    max_size=60,
)


def told_rows(pieces: list[object]) -> list[DecidedRecord]:
    """Rows of two insulators from short words, each piece a minute or two hours of weather."""
    at_s, rows = 0, []
    for piece in pieces:
        if isinstance(piece, tuple):
            rows += [interval(at_s, piece[0], each, **piece[1]) for each in ("a", "b")][
                : 1 + at_s % 2
            ]
        elif piece in ("rain", "humid", "dry air"):
            rh_cpct = 9000 if piece == "humid" else 5000
            at_s += 7200
            rows.append(weather(at_s - 7200, rh_cpct, 7200, rain_um=int(piece == "rain")))
        elif piece != "skip":
            line = LineStatus.OUT_OF_SERVICE if piece == "out of service" else LineStatus.UNKNOWN
            rows.append(health(at_s, source_alive=piece != "dark", line_status=line))
        at_s += 61 if piece == "skip" else 60
    return rows


@settings(max_examples=150, deadline=None)
@given(ROWS)
def test_cheap_way_and_kept_state_change_no_decision(pieces: list[object]) -> None:
    rows, plan = told_rows(pieces), plan_of("a", "b")
    _, changes = decided(rows, plan)
    assert decided_with_restarts(rows, plan) == changes
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(evaluation, "is_quiet", lambda row, air_is_dry: False)
        assert decided(rows, plan)[1] == changes


@settings(max_examples=100, deadline=None)
@given(ROWS)
def test_every_insulator_alternates_between_in_and_out(pieces: list[object]) -> None:
    told: dict[tuple[str, str], Condition] = {}
    for change in decided(told_rows(pieces), plan_of("a", "b"))[1]:
        key = change.alarm, change.subject
        assert told.get(key, Condition.OUT) is not change.condition
        told[key] = change.condition


def test_plan_and_state_of_other_insulators_are_taken_up() -> None:
    state, _ = decided(arcing(2), plan_of("a"))
    wider: DecisionPlan = plan_of("a", "b")
    rows = [interval(120, "arcing-sparse", each, arcing_halfcycles=6) for each in ("a", "b")]
    _, changes = decided(rows, wider, state)
    assert [each.subject for each in changes] == ["a"]


def test_ten_second_rows_that_adjoin_but_for_rounding_show_a_flashover_across_their_border() -> (
    None
):
    arc = interval(0, "arcing-dense", span=Span.TEN_SECONDS, arcing_halfcycles=9, last_arc_us=9 * S)
    for late_us, raised in ((1, 1), (90_000, 1), (200_000, 0)):
        silent = interval(
            10,
            "de-energised",
            span=Span.TEN_SECONDS,
            silent_from_us=0,
            start_us=START_US + 10 * S + late_us,
        )
        assert len(decided([arc, silent], plan_of(rate_hz=None))[1]) == raised
