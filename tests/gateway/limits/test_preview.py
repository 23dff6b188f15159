"""What would this have done: stored rows decided again, beside what the unit said at the time."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from edge.records import Stream
from gateway.limits.changing import ChangeRefused
from gateway.limits.preview import Preview
from gateway.limits.versions import Version
from gateway.replay.rows import decided_again, stored_rows
from tests.gateway.build import MINUTE_US, START_US, commit, key
from tests.gateway.limits.build import INSULATORS, SETTINGS, UNIT, Room, arcing, plan
from tests.gateway.limits.night import HOURS, night, streams


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    room = Room(tmp_path_factory.mktemp("limits"))
    for stream, records in streams().items():
        room.writer.append(commit(1, records, key(stream, UNIT)))
    yield room
    room.close()


def draft(alarms: dict[str, Any] | None) -> Version:
    return Version(UNIT, 1, alarms, "mk", "a try", START_US)


def looked(room: Room, alarms: dict[str, Any] | None) -> Preview:
    return room.desk.preview(draft(alarms), START_US, START_US + HOURS * 60 * MINUTE_US)


def test_the_same_limits_decide_the_stored_rows_to_the_very_same_changes(room: Room) -> None:
    reader = room.history.reader("gannet-stack")
    end_us = START_US + HOURS * 60 * MINUTE_US
    rows = list(stored_rows(reader, UNIT, INSULATORS, START_US, end_us))
    assert len(rows) == len(night())
    for one in INSULATORS:
        own = [of for of in rows if of.kind == "interval" and of.insulator == one]
        assert own == [of for of in night() if of.kind == "interval" and of.insulator == one]
    again = list(decided_again(plan(None), rows))
    assert again == [one.record for one in reader.conditions(START_US, end_us)]
    assert [one.condition.value for one in again if one.alarm == "arcing"] == ["in", "out"] * 2
    reader.close()


def test_limits_as_they_stood_would_have_done_what_was_done(room: Room) -> None:
    found = looked(room, None)
    assert found.comparison.alike and found.exact
    assert len(found.comparison.both) == 2
    assert found.rows == len(night())
    assert found.load_a.announced == found.load_b.announced == 2


def test_a_higher_limit_would_have_kept_the_weaker_night_quiet(room: Room) -> None:
    found = looked(room, arcing(100))
    assert [one.subject for one in found.comparison.only_a] == ["old-post"]
    assert found.comparison.only_a[0].start_us < START_US + 60 * MINUTE_US
    assert (len(found.comparison.both), found.comparison.only_b) == (1, ())


def test_a_lower_limit_would_have_called_for_the_short_burst_too(room: Room) -> None:
    found = looked(room, arcing(5, on_delay_s=60))
    starts = [(one.start_us - START_US) // MINUTE_US for one in found.comparison.only_b]
    assert starts == [421]
    assert found.load_b.announced == 3


def test_deciding_begins_before_the_time_asked_about_and_tells_only_of_it(room: Room) -> None:
    from_us = START_US + 210 * MINUTE_US
    found = room.desk.preview(draft(None), from_us, from_us + 60 * MINUTE_US)
    assert found.comparison.only_a == found.comparison.only_b == ()


@pytest.mark.parametrize("days", [0, -1, 93])
def test_a_time_that_does_not_end_after_it_begins_or_is_too_long_is_refused(
    room: Room, days: int
) -> None:
    with pytest.raises(ChangeRefused, match="within 92 days"):
        room.desk.preview(draft(None), START_US, START_US + days * 86_400_000_000)


def test_without_the_units_register_it_says_that_the_margin_is_not_exact(tmp_path: Path) -> None:
    room = Room(tmp_path, copies=False)
    room.writer.append(commit(1, night()[:0], key(Stream.INTERVAL, UNIT)))
    assert not looked(room, arcing(9)).exact
    assert SETTINGS.sha != ""
    room.close()
