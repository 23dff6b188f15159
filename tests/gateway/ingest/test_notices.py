"""Security events from elsewhere: told at once, then once a minute with their number."""

from __future__ import annotations

from dataclasses import replace

from gateway.history.store import SecurityEvent
from gateway.ingest.notices import KINDS_MAX, REPEAT_US, Notices
from tests.gateway.build import START_US, UNIT

EVENT = SecurityEvent(START_US, UNIT, "broker-foreign-topic", "may not publish there")


def told(notices: Notices, at_us: int) -> list[int]:
    due = notices.due(at_us)
    notices.told(due, at_us)
    return [event.count for event in due]


def test_the_first_is_told_at_once_and_the_others_of_its_minute_together() -> None:
    notices = Notices()
    notices.put(EVENT)
    assert told(notices, START_US) == [1]
    for _ in range(500):
        notices.put(EVENT)
    assert told(notices, START_US + REPEAT_US - 1) == []
    assert told(notices, START_US + REPEAT_US) == [500]
    assert told(notices, START_US + 3 * REPEAT_US) == []


def test_what_could_not_be_made_durable_is_due_again_with_what_came_meanwhile() -> None:
    notices = Notices()
    notices.put(EVENT)
    due = notices.due(START_US)
    notices.put(EVENT)
    assert [event.count for event in notices.due(START_US)] == [2]
    notices.told(due, START_US)
    assert told(notices, START_US + REPEAT_US) == [1]


def test_a_clock_that_goes_back_hides_nothing() -> None:
    notices = Notices()
    notices.put(EVENT)
    told(notices, START_US)
    notices.put(EVENT)
    assert told(notices, START_US - 1) == [1]


def test_names_without_end_do_not_fill_the_memory() -> None:
    notices = Notices()
    for number in range(KINDS_MAX + 5):
        notices.put(replace(EVENT, unit=f"north-head.m{number}"))
    due = notices.due(START_US)
    assert len(due) == KINDS_MAX + 1
    assert due[-1].unit == "" and due[-1].count == 5
