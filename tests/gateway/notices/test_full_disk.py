"""A book that cannot be written, and a gateway that was away: nothing twice, nothing lost, no old
news."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from edge.records import Condition
from gateway.alarms.memory import SITE_POINT
from tests.gateway.alarms.test_roll_up import TWELVE
from tests.gateway.notices.build import SITE, Room


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    room = Room(tmp_path)
    room.round()
    room.sent.clear()  # the first daily test
    yield room
    room.close()


@contextmanager
def full(room: Room, word: str = "") -> Iterator[None]:
    """The disk takes no line with `word` in it."""
    room.books._db.execute(
        "CREATE TRIGGER full BEFORE INSERT ON book "
        f"WHEN instr(CAST(new.body AS TEXT), '\"{word}') "
        "BEGIN SELECT RAISE(ABORT, 'disk full'); END"
    )
    yield
    room.books._db.execute("DROP TRIGGER full")


def fates(room: Room) -> list[bytes]:
    return [one.body for one in room.books.read("notices") if b'"queued"' not in one.body]


def test_what_was_delivered_is_sent_once_while_that_cannot_be_written(room: Room) -> None:
    before = len(fates(room))
    with full(room, "delivered"):
        room.hear(0)
        for minute in (1, 2, 3):
            room.tick(minute)
        assert len(room.to("duty")) == 1 and len(fates(room)) == before
    room.tick(4)
    assert len(fates(room)) == before + 2
    room.open()
    room.tick(5)
    assert len(room.to("duty")) == len(room.to("desk")) == 1


def test_a_failure_that_cannot_be_written_counts_for_the_wait_until_the_next_try(
    room: Room,
) -> None:
    room.refusing = {"duty"}
    with full(room, "failed"):
        room.hear(0)
        room.refusing = set()
        room.tick(0.4)
        assert room.to("duty") == []
        room.tick(0.6)
        assert len(room.to("duty")) == 1
    room.tick(0.7)
    before = room.desk.memory
    assert room.open().memory == before and room.desk.planned.waiting == {}


def test_an_announcement_is_told_once_the_book_can_be_written(room: Room) -> None:
    with full(room, "queued"):
        room.hear(0)
        room.tick(1)
        assert room.sent == []
    for minute in (2, 3):
        room.tick(minute)
    assert len(room.to("duty")) == len(room.to("desk")) == 1


def test_an_announcement_that_could_not_be_written_for_long_is_no_news(room: Room) -> None:
    with full(room, "queued"):
        room.hear(0)
        room.tick(16)
    room.tick(17)
    assert room.to("duty") == []


def test_a_call_that_waited_for_hours_while_the_gateway_was_away_is_not_sent_as_new(
    room: Room,
) -> None:
    room.desk.on_entries(SITE, room.story.hear(0))  # queued; the gateway ends before it is sent
    room.minute = 180
    room.open()
    room.desk._try_due()
    assert room.sent == [] and room.desk.planned.waiting == {}
    assert room.desk.planned.failing == {}, "it says nothing of the way to the recipient"
    given_up = [one for one in room.desk.memory.sent.values() if one.kind == "call"]
    assert {one.fate.value for one in given_up} == {"given-up"}
    assert all("within an hour" in one.why for one in given_up)


def test_a_digest_is_sent_once_though_the_gateway_starts_again_at_once(room: Room) -> None:
    for one in TWELVE[:4]:
        room.hear(0, subject=one)
    room.tell(room.story.acknowledge(1, SITE_POINT))
    for one in TWELVE[:4]:
        room.hear(100, Condition.OUT, subject=one)
    for minute in range(100, 113):
        room.tick(minute)
    assert len(room.to("desk", "digest")) == 1
    room.open().start()
    room.desk.stop()
    room.desk._try_due()
    assert len(room.to("desk", "digest")) == 1
