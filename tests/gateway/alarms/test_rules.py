"""The rules R1 to R8 of the alarm list, and what lateness does."""

from __future__ import annotations

import pytest

from edge.decide.setpoints import GOOD_AGAIN
from gateway.alarms.actions import (
    Acknowledge,
    ActionRefused,
    PutBack,
    Reset,
    TakeOut,
    Unshelve,
)
from gateway.alarms.alarm_list import Restarted
from gateway.alarms.journal import Point, What
from gateway.alarms.states import Shown
from tests.gateway.alarms.build import (
    IN,
    OUT,
    UNKNOWN,
    Story,
    announced,
    at,
    point,
    shelve,
)
from tests.gateway.build import NEXT_EPOCH


def test_an_alarm_lives_from_new_to_normal_and_is_announced_once() -> None:
    story = Story()
    (call,) = announced(story.hear(0))
    assert (call.sound, call.occurrence, call.priority) == (True, 1, 2)
    assert story.of().shown is Shown.NEW
    story.acknowledge(3)
    assert story.of().shown is Shown.ACKNOWLEDGED
    story.hear(90, OUT)
    assert story.of().shown is Shown.NORMAL
    assert len(announced(story.journal)) == 1
    assert [one.after for one in story.journal if one.what is What.HEARD] == [
        Shown.NEW,
        Shown.NORMAL,
    ]


def test_a_cleared_alarm_waits_for_its_acknowledgement_without_a_sound() -> None:
    story = Story()
    story.hear(0)
    assert not announced(story.hear(60, OUT))
    assert story.of().shown is Shown.CLEARED
    story.acknowledge(61)
    assert story.of().shown is Shown.NORMAL


def test_one_that_returns_before_it_was_acknowledged_is_a_new_occurrence_and_calls_again() -> None:
    story = Story()
    story.hear(0)
    story.hear(60, OUT)
    (call,) = announced(story.hear(70))
    assert (call.occurrence, call.sound) == (2, True)


def test_r1_lost_data_freezes_the_state_and_good_data_goes_on_with_the_same_occurrence() -> None:
    story = Story()
    story.hear(0)
    story.acknowledge(1)
    story.hear(10, UNKNOWN, since_us=at(5), reason="gap in the rows")
    assert story.of().shown is Shown.ACKNOWLEDGED
    assert story.of().lost_since_us == at(5)
    assert not announced(story.hear(130, IN, since_us=at(0), reason=GOOD_AGAIN))
    assert story.of().shown is Shown.ACKNOWLEDGED
    assert (story.of().lost_since_us, story.of().occurrence) == (0, 1)
    story.hear(200, OUT)
    assert story.of().shown is Shown.NORMAL


def test_r1_lost_data_raises_nothing_either() -> None:
    story = Story()
    assert not announced(story.hear(10, UNKNOWN))
    assert story.of().shown is Shown.NORMAL
    assert story.of().lost_since_us


def test_r1_a_unit_that_lost_its_memory_neither_clears_nor_raises_and_a_person_ends_it() -> None:
    story = Story()
    story.hear(0)
    story.acknowledge(1)
    story.begin_anew(30, NEXT_EPOCH)
    assert story.of().orphaned
    assert story.of().shown is Shown.ACKNOWLEDGED
    story.give(Reset(at_us=at(40), by="mk", point=point(), reason="quiet by the weather"))
    assert story.of().shown is Shown.NORMAL
    assert not story.of().orphaned


def test_r2_a_rise_of_priority_calls_again_and_a_fall_does_not() -> None:
    story = Story()
    story.hear(0, priority=2)
    story.acknowledge(1)
    (call,) = announced(story.hear(30, IN, priority=1))
    assert (call.priority, story.of().shown, story.of().occurrence) == (1, Shown.NEW, 1)
    story.acknowledge(31)
    assert not announced(story.hear(40, IN, priority=3))
    assert story.of().shown is Shown.ACKNOWLEDGED
    assert story.of().priority == 3


@pytest.mark.parametrize(
    ("hours", "priority", "second", "allowed"),
    [
        (1, 2, "", True),
        (12, 2, "", True),
        (12.01, 2, "", False),
        (0, 2, "", False),
        (-1, 2, "", False),
        (1, 1, "jo", True),
        (1, 1, "", False),
        (1, 1, " MK ", False),
        (1.01, 1, "jo", False),
    ],
)
def test_r3_shelving_is_bounded_and_priority_1_needs_two_people(
    hours: float, priority: int, second: str, allowed: bool
) -> None:
    story = Story()
    story.hear(0, priority=priority)
    if allowed:
        story.give(shelve(1, hours, second=second))
        assert story.of().shown is Shown.SHELVED
    else:
        with pytest.raises(ActionRefused):
            story.give(shelve(1, hours, second=second))
        assert story.of().shown is Shown.NEW


def test_r3_a_shelf_that_ends_while_the_alarm_is_in_calls_again_with_its_true_start() -> None:
    story = Story()
    story.hear(0)
    story.acknowledge(1)
    story.give(shelve(2, 1))
    assert not story.tick(61)
    story.held = story.refolded()  # a restart in between
    (ended, call) = story.tick(62)
    assert (ended.what, ended.reason) == (What.UNSHELVED, "its time is up")
    assert (call.what, call.sound) == (What.ANNOUNCED, True)
    assert story.of().since_us == at(0)


def test_r3_what_went_out_on_the_shelf_is_normal_afterwards() -> None:
    story = Story()
    story.hear(0)
    story.give(shelve(2, 1))
    story.hear(30, OUT)
    assert story.of().shown is Shown.SHELVED
    story.give(Unshelve(at_us=at(40), by="mk", point=point()))
    assert story.of().shown is Shown.NORMAL


def test_r3_a_rise_of_priority_ends_the_shelf() -> None:
    story = Story()
    story.hear(0)
    story.give(shelve(1, 8))
    entries = story.hear(5, IN, priority=1)
    assert What.UNSHELVED in [one.what for one in entries]
    assert len(announced(entries)) == 1


def test_r4_out_of_service_needs_a_work_order_does_not_end_by_itself_and_is_recalled_daily() -> (
    None
):
    story = Story()
    story.hear(0)
    with pytest.raises(ActionRefused, match="work order"):
        story.give(TakeOut(at_us=at(1), by="mk", point=point(), order=" "))
    story.give(TakeOut(at_us=at(1), by="mk", point=point(), order="WO 5512"))
    reminders = [
        one
        for minute in range(0, 3 * 24 * 60, 60)
        for one in story.tick(2 + minute)
        if one.what is What.REMINDED
    ]
    assert len(reminders) == 2
    assert story.of().shown is Shown.OUT_OF_SERVICE
    story.give(PutBack(at_us=at(5000), by="mk", point=point()))
    assert len(announced(story.tick(5000))) == 1


def test_r5_the_site_hides_single_insulators_and_nothing_hides_the_site() -> None:
    story = Story()
    for subject in ("A1", "A2", "A3"):
        story.hear(0, subject=subject)
    assert story.of("site-arcing", "", "").shown is Shown.NEW
    assert {story.of(subject=s).shown for s in ("A1", "A2", "A3")} == {Shown.SUPPRESSED}
    story.give(TakeOut(at_us=at(1), by="mk", point=Point("", "site-arcing", ""), order="WO 1"))
    story.tick(2)
    assert {story.of(subject=s).shown for s in ("A1", "A2", "A3")} == {Shown.NEW}


def test_r6_an_acknowledgement_is_of_one_occurrence_and_given_twice_it_is_given_once() -> None:
    story = Story()
    story.hear(0)
    assert len(story.acknowledge(1)) == 1
    assert story.acknowledge(2, by="jo") == []
    assert story.of().acknowledged_by == "mk"
    story.hear(60, OUT)
    story.hear(70)
    with pytest.raises(ActionRefused, match=r"north-head\.1 "):
        story.give(Acknowledge(at_us=at(71), by="mk", occurrences=(1,)))
    assert story.of().shown is Shown.NEW


def test_r6_priority_1_is_never_acknowledged_among_others() -> None:
    story = Story()
    story.hear(0)
    story.hear(0, alarm="near-margin", priority=1)
    both = point(), point("near-margin")
    with pytest.raises(ActionRefused, match="by itself"):
        story.acknowledge(1, *both)
    story.acknowledge(1, both[1])
    story.acknowledge(1, both[0])
    assert {story.held.of(one).shown for one in both} == {Shown.ACKNOWLEDGED}


def test_r7_the_journal_says_who_when_from_to_why_and_from_where() -> None:
    story = Story()
    story.hear(0)
    (entry,) = story.acknowledge(3)
    assert (entry.who, entry.at_us, entry.address) == ("mk", at(3), "::1")
    assert (entry.before, entry.after) == (Shown.NEW, Shown.ACKNOWLEDGED)
    assert [one.number for one in story.journal] == list(range(1, len(story.journal) + 1))
    with pytest.raises(ActionRefused, match="by is empty"):
        story.give(Acknowledge(at_us=at(4), by=" ", occurrences=(1,)))


def test_r8_a_restart_rebuilds_the_list_and_announces_nothing_again() -> None:
    story = Story()
    story.hear(0)
    story.hear(0, alarm="over-range", subject="B2")
    story.acknowledge(1)
    before = story.held
    story.held = story.refolded()
    assert story.held == before
    entries = story.give(Restarted(at(60), at(2)))
    assert [(one.what, one.from_us, one.until_us) for one in entries] == [
        (What.RESTARTED, at(2), at(60))
    ]
    assert story.tick(61) == []


def test_r8_a_line_that_was_heard_before_the_restart_is_not_heard_twice() -> None:
    story = Story()
    story.hear(0)
    story.seq -= 1
    assert story.hear(0) == []
