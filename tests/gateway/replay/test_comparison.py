"""Two runs compared: matched one to one, counts that add up, nothing beyond the tolerance."""

from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import strategies as st

from edge.records import Condition
from gateway.replay.comparison import compared
from gateway.replay.matching import nearest_pairs
from gateway.replay.occurrences import Occurrence, occurrences
from gateway.replay.settings_difference import ABSENT, Difference, differing
from tests.gateway.build import MINUTE_US
from tests.gateway.replay.told import at, occurrence, turn

IN, OUT, UNKNOWN = Condition.IN, Condition.OUT, Condition.UNKNOWN
TOLERANCE_US = 10 * MINUTE_US

SOME_ALARMS = st.lists(
    st.builds(
        occurrence,
        st.integers(0, 60),
        st.none() | st.integers(61, 90),
        st.sampled_from(["arcing", "near-margin"]),
        st.sampled_from(["A1", ""]),
        st.integers(1, 3),
    ),
    max_size=12,
)
MOMENTS = st.lists(st.integers(0, 30), max_size=6).map(sorted)


def test_lost_data_neither_ends_an_occurrence_nor_begins_one() -> None:
    told = [turn(1, IN), turn(2, UNKNOWN), turn(3, IN), turn(9, OUT), turn(10, UNKNOWN)]
    assert occurrences(told) == (occurrence(1, 9),)


def test_an_alarm_that_is_still_in_at_the_end_has_no_end() -> None:
    assert occurrences([turn(1, IN), turn(2, OUT), turn(3, IN)]) == (
        occurrence(1, 2),
        occurrence(3),
    )


def test_an_end_before_its_start_after_a_stepped_clock_is_the_start() -> None:
    assert occurrences([turn(5, IN), turn(2, OUT)]) == (occurrence(5, 5),)


def test_alarms_of_another_insulator_or_kind_are_never_the_same() -> None:
    a = [occurrence(1), occurrence(1, subject="A2")]
    b = [occurrence(1, subject="A3"), occurrence(1, alarm="near-margin", subject="A2")]
    found = compared(a, b, TOLERANCE_US)
    assert (len(found.only_a), len(found.only_b), len(found.both)) == (2, 2, 0)


def test_the_nearer_of_two_is_the_same_and_the_delay_has_a_sign() -> None:
    found = compared([occurrence(0), occurrence(10)], [occurrence(8)], TOLERANCE_US)
    assert found.only_a == (occurrence(0),)
    assert [one.delay_us for one in found.both] == [-2 * MINUTE_US]
    assert found.delays is not None and found.delays.latest_us == -2 * MINUTE_US


def test_the_tolerance_itself_is_within_and_one_more_is_not() -> None:
    late = Occurrence(at(0) + TOLERANCE_US + 1, "arcing", "A1", 2, None)
    assert compared([occurrence(0)], [occurrence(10)], TOLERANCE_US).both
    assert not compared([occurrence(0)], [late], TOLERANCE_US).both


def test_another_end_or_priority_is_a_difference_although_both_have_it() -> None:
    for other in (occurrence(0, 6), occurrence(0, 5, priority=1)):
        found = compared([occurrence(0, 5)], [other], TOLERANCE_US)
        assert len(found.both) == 1 and not found.alike


@given(SOME_ALARMS, SOME_ALARMS, st.integers(0, 20))
def test_counts_add_up_for_any_two_sets(
    a: list[Occurrence], b: list[Occurrence], minutes: int
) -> None:
    found = compared(a, b, minutes * MINUTE_US)
    assert sorted([*found.only_a, *(one.a for one in found.both)], key=repr) == sorted(a, key=repr)
    assert sorted([*found.only_b, *(one.b for one in found.both)], key=repr) == sorted(b, key=repr)
    parts = [found.of(name) for name in found.alarms]
    assert sum(len(part.both) for part in parts) == len(found.both)
    assert sum(len(part.only_a) for part in parts) == len(found.only_a)
    assert all(abs(one.delay_us) <= minutes * MINUTE_US for one in found.both)
    assert all(one.a.key == one.b.key for one in found.both)


@given(SOME_ALARMS, SOME_ALARMS)
def test_swapped_runs_tell_the_same_the_other_way_round(
    a: list[Occurrence], b: list[Occurrence]
) -> None:
    there, back = compared(a, b, TOLERANCE_US), compared(b, a, TOLERANCE_US)
    assert len(there.both) == len(back.both)
    apart = [sum(abs(pair.delay_us) for pair in found.both) for found in (there, back)]
    assert apart[0] == apart[1]


@given(SOME_ALARMS)
def test_a_run_is_like_itself(a: list[Occurrence]) -> None:
    found = compared(a, a, 0)
    assert not found.only_a and not found.only_b
    assert all(one.delay_us == 0 for one in found.both)


@given(MOMENTS, MOMENTS, st.integers(0, 12))
def test_no_other_matching_has_more_pairs_or_nearer_ones(
    a: list[int], b: list[int], tolerance: int
) -> None:
    pairs = nearest_pairs(a, b, tolerance)
    assert len({i for i, _ in pairs}) == len({j for _, j in pairs}) == len(pairs)
    assert all(abs(a[i] - b[j]) <= tolerance for i, j in pairs)
    best = (-len(pairs), sum(abs(a[i] - b[j]) for i, j in pairs))
    assert best == min(every_matching(a, b, tolerance))


def every_matching(a: list[int], b: list[int], tolerance: int) -> list[tuple[int, int]]:
    """(pairs with a minus sign, distance) of all that there are, crossing ones too."""
    short, long = sorted((a, b), key=len)
    found = []
    for size in range(len(short) + 1):
        for chosen in itertools.combinations(short, size):
            for partners in itertools.permutations(long, size):
                apart = [abs(x - y) for x, y in zip(chosen, partners, strict=True)]
                if all(one <= tolerance for one in apart):
                    found.append((-size, sum(apart)))
    return found


def test_only_settings_that_differ_are_told_and_insulators_go_by_their_name() -> None:
    a = {"limits": {"x": 1, "y": 2}, "insulator": [{"id": "A1", "gain": 1}, {"id": "A2"}]}
    b = {"limits": {"x": 1, "y": 3}, "insulator": [{"id": "A2"}, {"id": "A1", "gain": 2}]}
    assert differing(a, b) == (Difference("insulator[A1].gain", 1, 2), Difference("limits.y", 2, 3))


def test_a_setting_that_one_of_them_lacks_is_not_a_null() -> None:
    assert differing({"x": None}, {}) == (Difference("x", None, ABSENT),)
    assert differing({"x": 1}, {"x": True}) == (Difference("x", 1, True),)


def test_lists_without_names_go_by_their_place() -> None:
    assert differing({"x": [1, 2]}, {"x": [1, 5, 6]}) == (
        Difference("x[1]", 2, 5),
        Difference("x[2]", ABSENT, 6),
    )
