"""What stays: latches; what comes late; what is answered, and what is no alarm at all."""

from __future__ import annotations

import pytest

from gateway.alarms.actions import Acknowledge, ActionRefused, Answer, Reset
from gateway.alarms.alarm_list import step
from gateway.alarms.journal import What
from gateway.alarms.sight import UnitSight
from gateway.alarms.states import Shown
from tests.gateway.alarms.build import OUT, Story, announced, at, point, shelve, sounds
from tests.gateway.build import UNIT


def test_a_latched_alarm_stays_until_it_is_acknowledged_and_reset() -> None:
    story = Story()
    flashover = {"alarm": "flashover-suspected", "priority": 1, "latched": True}
    story.hear(0, **flashover)
    story.hear(15, OUT, **flashover)
    of = point("flashover-suspected")
    assert story.held.of(of).shown is Shown.LATCHED_NEW
    reset = Reset(at_us=at(20), by="mk", point=of)
    with pytest.raises(ActionRefused, match="acknowledged"):
        story.give(reset)
    story.acknowledge(21, of)
    assert story.held.of(of).shown is Shown.LATCHED
    assert len(announced(story.hear(25, **flashover))) == 1
    with pytest.raises(ActionRefused, match="still in"):
        story.give(reset)
    story.hear(40, OUT, **flashover)
    story.acknowledge(41, of)
    story.give(reset)
    assert story.held.of(of).shown is Shown.NORMAL


def test_late_data_that_is_over_is_for_the_journal_only() -> None:
    story = Story()
    entries = story.hear(0, came=120) + story.hear(60, OUT, came=120)
    assert not announced(entries)
    assert [one.late for one in entries if one.what is What.HEARD] == [True, True]
    assert story.of().shown is Shown.NORMAL


def test_late_data_that_still_stands_is_told_as_late_once_its_unit_has_caught_up() -> None:
    story = Story()
    story.units = {}
    assert not announced(story.hear(0, came=120))
    assert story.of().shown is Shown.NEW
    story.units = {UNIT: UnitSight(at(125), at(124))}
    assert not announced(story.tick(125))
    (call,) = announced(story.tick(126))
    assert call.late
    assert call.reason == "came late and still stands"


def test_late_data_of_a_unit_that_never_catches_up_is_not_hidden_for_ever() -> None:
    story = Story()
    story.units = {}
    story.hear(0, came=120)
    assert not announced(story.tick(149))
    assert len(announced(story.tick(150))) == 1


def test_the_age_of_an_unsynchronised_clock_is_not_believed() -> None:
    story = Story()
    assert announced(story.hear(0, came=120, flags=("clock-unsynchronised",)))


def test_lateness_begins_after_a_quarter_of_an_hour() -> None:
    assert announced(Story().hear(0, came=15))
    story = Story()
    story.units = {}
    assert not announced(story.hear(0, came=15.1))


def test_an_answer_is_kept_as_a_label_and_changes_no_state() -> None:
    story = Story()
    story.hear(0)
    entries = story.answer(2, Answer.SEEN_ARCING, point())
    assert [(one.what, one.label) for one in entries] == [(What.ANSWERED, "seen-arcing")]
    assert (story.of().shown, story.of().answer) == (Shown.NEW, "seen-arcing")


def test_a_wash_on_record_hides_current_in_dry_air_for_four_hours() -> None:
    story = Story()
    story.hear(0, alarm="dry-air-current")
    story.answer(1, Answer.WASHING, point("dry-air-current"))
    assert story.of("dry-air-current").shown is Shown.SUPPRESSED
    story.tick(242)
    assert story.of("dry-air-current").shown is Shown.NEW


def test_a_task_is_listed_and_calls_nobody() -> None:
    story = Story()
    assert not announced(story.hear(0, alarm="storage", subject="", priority=3))
    assert story.of("storage", "").shown is Shown.NEW
    assert announced(story.hear(1, alarm="a-later-alarm", priority=3))


def test_a_refused_action_leaves_the_list_as_it_was() -> None:
    story = Story()
    story.hear(0)
    before = story.held
    for action in (
        shelve(1, 99),
        Acknowledge(at_us=at(1), by="mk", occurrences=(7,)),
        Acknowledge(at_us=at(1), by="mk", occurrences=(1,), note="x" * 401),
    ):
        with pytest.raises(ActionRefused):
            step(story.held, action)
    assert story.held is before


def test_sounds_are_counted_once_while_a_call_waits() -> None:
    story = Story()
    story.hear(0)
    (second,) = announced(story.hear(1, alarm="over-range", subject="B2"))
    assert not second.sound
    assert sounds(story.journal) == 1
    story.acknowledge(2)
    story.acknowledge(2, point("over-range", "B2"))
    assert sounds(story.hear(20, alarm="over-range", subject="B3")) == 1
