"""Who is told of what and when, and what is never sent."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from edge.records import Condition
from gateway.alarms.alarm_list import Restarted
from gateway.alarms.memory import SITE_POINT
from gateway.notices.judging import judged
from gateway.outward_settings import Notices
from tests.gateway.alarms.build import Story, at, point
from tests.gateway.alarms.test_roll_up import TWELVE
from tests.gateway.notices.build import DUTY, MAIL, SECOND, Room

OUT = Condition.OUT


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    room = Room(tmp_path)
    room.round()
    room.sent.clear()  # the first daily test
    yield room
    room.close()


def test_an_announcement_goes_to_the_first_person_and_by_mail_and_only_once(room: Room) -> None:
    room.hear(0)
    (short,) = room.to("duty")
    assert short.body.startswith("P2 North Head 132 kV A1: arcing")
    (mail,) = room.to("desk")
    assert mail.subject.startswith("[P2 NEW] North Head 132 kV A1")
    assert room.to("second") == []
    for minute in range(1, 9):
        room.hear(minute)
    assert len(room.sent) == 2


def test_nobody_is_told_of_what_came_late_even_when_the_list_announces_it(room: Room) -> None:
    room.story.units = {}
    room.hear(-60, came=0)
    for minute in range(40):
        room.tick(minute)
    assert any(one.late for one in room.story.journal if one.what == "announced")
    assert room.sent == []


def test_an_announcement_that_is_old_when_it_is_read_is_not_sent(room: Room) -> None:
    entries = room.story.hear(0)
    room.minute = 15
    room.tell(entries)
    assert room.sent == []


def test_a_rise_of_priority_is_told_again_and_a_fall_is_not(room: Room) -> None:
    room.hear(0)
    room.hear(1, priority=1)
    room.hear(2, priority=2)
    assert [one.priority for one in room.to("duty")] == [2, 1]


def test_the_second_person_is_told_after_ten_minutes_unless_somebody_acknowledged(
    room: Room,
) -> None:
    room.hear(0)
    room.tick(9.99)
    assert room.to("second") == []
    room.tick(10)
    (notice,) = room.to("second")
    assert "UNACKED 10min" in notice.body
    room.tick(30)
    assert len(room.to("second")) == 1
    room.hear(40, alarm="near-margin", subject="B2", priority=1)
    room.tell(room.story.acknowledge(41, point("near-margin", "B2")))
    room.tick(60)
    assert len(room.to("second")) == 1


def test_the_end_goes_to_those_who_had_the_beginning_and_lost_data_ends_nothing(
    room: Room,
) -> None:
    room.hear(0)
    room.tick(10)
    room.hear(12, Condition.UNKNOWN, since_us=at(11))
    room.tick(200)
    assert {one.kind.value for one in room.sent} == {"call", "escalation"}
    room.hear(220, OUT)
    assert [one.recipient for one in room.sent if one.kind == "clear"] == [
        "duty",
        "desk",
        "second",
    ]
    assert all("CLR" in one.body for one in room.to("second", "clear"))
    room.tick(230)
    assert len(room.sent) == 6


def test_a_storm_of_twelve_is_two_short_notices_at_most_in_half_an_hour(room: Room) -> None:
    """The first insulator, and the site once it has risen to priority 1."""
    for place, one in enumerate(TWELVE):
        room.hear(place * 10 / 12, subject=one)
    for minute in range(10, 30):
        room.tick(minute)
    calls = room.to("duty", "call")
    assert len(calls) <= 2
    assert "arcing at the site" in calls[-1].body and calls[-1].priority == 1


def test_when_the_storm_is_over_a_digest_goes_to_those_who_want_it(room: Room) -> None:
    for one in TWELVE[:4]:
        room.hear(0, subject=one)
    room.tell(room.story.acknowledge(1, SITE_POINT))
    for one in TWELVE[:4]:
        room.hear(100, OUT, subject=one)
    for minute in range(100, 113):
        room.tick(minute)
    (digest,) = room.to("desk", "digest")
    assert "4 insulators arced" in digest.body
    assert not room.to("duty", "digest")


def test_short_notices_of_a_site_are_half_an_hour_apart_but_for_what_is_urgent(
    room: Room,
) -> None:
    room.hear(0, alarm="over-range", subject="A1")
    room.hear(5, alarm="dry-air-current", subject="B2")
    assert len(room.to("duty")) == 1 and len(room.to("desk")) == 2
    room.hear(6, alarm="near-margin", subject="C3", priority=1)
    assert len(room.to("duty")) == 2
    room.hear(50, alarm="dry-air-current", subject="D4")
    assert len(room.to("duty")) == 3


def test_a_test_goes_to_all_once_a_day_and_a_missed_one_when_the_gateway_is_back(
    tmp_path: Path,
) -> None:
    room = Room(tmp_path)
    room.round()
    assert sorted(one.recipient for one in room.sent) == ["desk", "duty", "second"]
    assert {one.kind.value for one in room.sent} == {"test"}
    for hour in range(9):
        room.tick(60 * hour)
    assert len(room.sent) == 3
    room.tick(9 * 60)
    assert len(room.sent) == 6 and "TEST 2" in room.sent[-1].body
    room.tick(24 * 60 * 3)
    assert len(room.sent) == 9, "one for the days without gateway, not three"
    room.close()


def test_a_restart_sends_nothing_twice_and_what_was_announced_meanwhile_once(room: Room) -> None:
    room.hear(0)
    sent = len(room.sent)
    room.open().start()
    room.desk.stop()
    assert len(room.sent) == sent
    room.story.hear(2, alarm="near-margin", priority=1)
    room.story.give(Restarted(at(3), at(2)))
    room.minute = 3
    room.open().start()
    room.desk.stop()
    room.desk._try_due()
    assert [one.priority for one in room.to("duty")] == [2, 1]


def test_what_could_not_be_delivered_is_tried_again_and_given_up_after_an_hour(
    room: Room,
) -> None:
    room.refusing = {"duty"}
    room.hear(0)
    assert len(room.to("desk")) == 1 and room.to("duty") == []
    room.tick(0.4)
    room.refusing = set()
    room.tick(0.6)
    assert len(room.to("duty")) == 1
    room.refusing = {"duty"}
    room.hear(40, subject="B2", alarm="over-range")
    for minute in range(40, 110):
        room.tick(minute)
    assert [one.kind.value for one in room.desk.planned.waiting.values()] == []
    room.refusing = set()
    room.tick(200)
    assert len(room.to("duty")) == 1, "an alarm of hours ago is no news"


def test_a_recipient_that_nothing_reaches_is_an_alarm_until_something_does(room: Room) -> None:
    room.refusing = {"duty"}
    room.hear(0)
    for minute in (1, 2, 3):
        room.tick(minute)
    assert set(room.desk.failing()) == {"duty"}
    ((unit, change),) = judged(room.story.held, room.desk.failing(), at(3))
    assert (unit, change.alarm, change.condition) == ("", "notices-fail", Condition.IN)
    assert "duty" in change.reason
    room.refusing = set()
    room.tick(20)
    assert room.desk.failing() == {}


def test_a_book_that_cannot_be_written_delays_and_sends_nothing_unwritten(room: Room) -> None:
    room.books._db.execute("ALTER TABLE book RENAME TO taken_away")
    entries = room.story.hear(0)
    room.tell(entries)
    assert room.sent == []
    room.books._db.execute("ALTER TABLE taken_away RENAME TO book")
    room.tell(entries)
    assert len(room.to("duty")) == 1


def test_only_priorities_and_sites_that_a_recipient_wants_are_told(tmp_path: Path) -> None:
    elsewhere = DUTY.model_copy(update={"name": "other", "sites": ("gull-rock",)})
    settings = Notices(recipients=(DUTY, elsewhere, SECOND, MAIL), priorities=(1,))
    room = Room(tmp_path, settings, Story())
    room.round()
    room.sent.clear()
    room.hear(0)
    assert room.sent == []
    room.hear(1, alarm="near-margin", priority=1)
    assert sorted(one.recipient for one in room.sent) == ["desk", "duty"]
    room.close()
