"""What would this have done: stored rows decided again, beside what the unit said at the time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from edge.decide.evaluation import decision_order, step
from edge.decide.state import initial
from edge.quantities import State
from edge.records import ConditionChange, IntervalRow, Stream
from gateway.limits.changing import ChangeRefused
from gateway.limits.preview import Preview
from gateway.limits.versions import Version
from gateway.replay.rows import decided_again, stored_rows
from tests.gateway.build import MINUTE_US, START_US, commit, health, interval, key, weather
from tests.gateway.limits.build import INSULATORS, SETTINGS, UNIT, Room, arcing, plan

HOURS = 10
BURSTS = ((30, 50, 20), (200, 260, 300), (420, 422, 9))
"""First minute, last minute, arcing half-cycles a minute of `old-post`."""


def row(minute: int, insulator: str) -> IntervalRow:
    count = next((n for start, end, n in BURSTS if start <= minute < end), 0)
    count = count if insulator == "old-post" else 0
    return interval(
        minute,
        insulator,
        state=State.ARCING_SPARSE if count else State.WET,
        arcing_halfcycles=count,
        arcing_peak_ua=20_000 if count else 0,
        arc_pulses=(count, 0, 0, 0, 0),
        first_arc_us=0 if count else None,
        last_arc_us=1_000_000 if count else None,
        flags=(),
        calibration="",
    )


def night() -> list[Any]:
    rows = [row(minute, one) for minute in range(60 * HOURS) for one in INSULATORS]
    # Seconds of the worst minute besides: they are never added up.
    seconds = [
        replace(
            row(200, "old-post"),
            span="ten-seconds",
            start_us=START_US + 200 * MINUTE_US + tens * 10_000_000,
            duration_us=10_000_000,
            arcing_halfcycles=50,
        )
        for tens in range(6)
    ]
    others = [one(minute) for minute in range(60 * HOURS) for one in (weather, health)]
    return sorted([*rows, *seconds, *others], key=decision_order)


def changes_of(rows: list[Any]) -> list[ConditionChange]:
    """What the unit itself says of the night, with its own limits."""
    state, said = initial(plan(None)), []
    for one in rows:
        state, more = step(state, one, plan(None))
        said += more
    return said


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    room = Room(tmp_path_factory.mktemp("limits"))
    rows = night()
    streams = {
        Stream.INTERVAL: [one for one in rows if one.kind == "interval"],
        Stream.WEATHER: [one for one in rows if one.kind == "weather"],
        Stream.HEALTH: [one for one in rows if one.kind == "health"],
        Stream.ALARM: changes_of(rows),
    }
    for stream, records in streams.items():
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
