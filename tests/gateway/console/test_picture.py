"""What is told of the present: old is never shown as present, lost is never shown as cleared."""

from __future__ import annotations

from pathlib import Path

import pytest

from edge.quantities import Flag, State
from edge.records import Condition, IntervalRow, Record, Span, Stream
from gateway.console.picture import Liveliness, Picture, picture
from gateway.console.recall import recall
from gateway.console.summary import Summary, fold, with_link
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import Commit, SecurityEvent, StreamKey
from gateway.settings import Site, Unit
from tests.gateway.build import (
    MINUTE_US,
    START_US,
    UNIT,
    commit,
    condition,
    health,
    interval,
    key,
    weather,
)

SITE = "north-head"
REGISTER = {SITE: Site(title="North Head", units={"m1": Unit(insulators=("A1", "B2"))})}
STALE_US = 3 * MINUTE_US


def after(*commits: tuple[StreamKey, list[Record]], at_us: int = START_US + MINUTE_US) -> Summary:
    summary = Summary()
    for of, records in commits:
        made = commit(1, records, of)
        summary = fold(summary, SITE, Commit(at_us, made.entries, made.marks))
    return summary


def seen(summary: Summary, now_us: int) -> Picture:
    return picture(summary, REGISTER, now_us, STALE_US)


def test_a_registered_insulator_that_never_spoke_is_counted_as_not_watched() -> None:
    told = seen(after((key(), [interval(0)])), START_US + 2 * MINUTE_US)
    assert [(one.insulator, one.watched) for one in told.insulators] == [
        ("A1", True),
        ("B2", False),
    ]
    assert (told.sites[0].watched, told.sites[0].insulators) == (1, 2)
    assert (told.units[0].watched, told.units[0].insulators) == (1, 2)


def test_an_insulator_that_is_not_registered_but_speaks_is_counted_too() -> None:
    told = seen(after((key(), [interval(0, insulator="C3")])), START_US + 2 * MINUTE_US)
    assert [one.insulator for one in told.insulators] == ["A1", "B2", "C3"]


@pytest.mark.parametrize(
    ("row", "watched"),
    [
        (interval(0), True),
        (interval(0, flags=(Flag.SENSOR_FAULT,)), False),
        (interval(0, flags=(Flag.SATURATED,)), True),
        (interval(0, state=State.UNKNOWN), False),
        (interval(0, state=State.DE_ENERGISED), True),
        (interval(0, span=Span.TEN_SECONDS), True),
    ],
)
def test_a_row_that_says_nothing_watches_nothing(row: IntervalRow, watched: bool) -> None:
    told = seen(after((key(), [row])), START_US + 2 * MINUTE_US)
    assert told.insulators[0].watched is watched


def test_a_row_watches_until_it_is_older_than_the_limit() -> None:
    summary = after((key(), [interval(0)]))
    end_us = START_US + MINUTE_US
    assert seen(summary, end_us + STALE_US).insulators[0].watched
    assert not seen(summary, end_us + STALE_US + 1).insulators[0].watched


@pytest.mark.parametrize(
    ("heard_us", "now_us", "liveliness"),
    [
        (START_US + MINUTE_US, START_US + 2 * MINUTE_US, Liveliness.LIVE),
        (START_US + MINUTE_US, START_US + 9 * MINUTE_US, Liveliness.SILENT),
        (START_US + 9 * MINUTE_US, START_US + 9 * MINUTE_US, Liveliness.CATCHING_UP),
    ],
)
def test_a_unit_is_live_only_with_fresh_data_heard_lately(
    heard_us: int, now_us: int, liveliness: Liveliness
) -> None:
    summary = after((key(), [interval(0)]), at_us=heard_us)
    assert seen(summary, now_us).units[0].liveliness is liveliness


def test_a_clock_in_the_future_does_not_keep_a_silent_unit_alive() -> None:
    summary = after((key(), [interval(10**6)]))
    assert seen(summary, START_US + 9 * MINUTE_US).units[0].liveliness is Liveliness.SILENT


def test_a_unit_that_never_spoke_is_told_as_such_and_its_link_is_only_a_hint() -> None:
    summary = with_link(Summary(), SITE, UNIT, "online")
    unit = seen(summary, START_US).units[0]
    assert (unit.liveliness, unit.link, unit.data_age_us) == (
        Liveliness.NEVER_HEARD,
        "online",
        None,
    )


def test_the_last_change_of_each_condition_counts_and_lost_data_clears_nothing() -> None:
    alarms = [condition(0), condition(1, alarm="b"), condition(2, Condition.UNKNOWN)]
    told = seen(after((key(Stream.ALARM), alarms)), START_US + 2 * MINUTE_US)
    assert [(one.change.alarm, one.change.condition) for one in told.conditions] == [
        ("arcing", Condition.UNKNOWN),
        ("b", Condition.IN),
    ]
    assert (told.sites[0].alarms_in, told.sites[0].alarms_unknown) == (1, 1)


def test_a_condition_of_a_unit_that_is_not_live_is_stale() -> None:
    summary = after((key(), [interval(0)]), (key(Stream.ALARM), [condition(0)]))
    assert [one.stale for one in seen(summary, START_US + 2 * MINUTE_US).conditions] == [False]
    assert [one.stale for one in seen(summary, START_US + 9 * MINUTE_US).conditions] == [True]


def test_refusals_and_events_are_counted() -> None:
    event = SecurityEvent(1, UNIT, "identity", "", 7)
    assert fold(Summary(), SITE, Commit(1, events=(event, event))).noticed == 14


def test_after_a_restart_the_history_gives_the_same_picture(tmp_path: Path) -> None:
    history = SqliteHistory(tmp_path)
    writer = history.writer(SITE)
    told = Summary()
    for of, records in (
        (key(), [interval(0), interval(1), interval(1, insulator="B2")]),
        (key(Stream.HEALTH), [health(0), health(1, backlog=4)]),
        (key(Stream.ALARM), [condition(0), condition(1, Condition.OUT), condition(1, alarm="b")]),
        (key(Stream.WEATHER), [weather(0), weather(1)]),
    ):
        writer.append(made := commit(1, records, of))
        told = fold(told, SITE, made)
    writer.close()
    now_us = START_US + 3 * MINUTE_US
    assert recall(history, [SITE, "elsewhere"], now_us) == told
