"""Whom the gateway asks whether anything is missing, and how often."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest

from edge.records import Stream
from gateway.history.sqlite_read import SqliteReader
from gateway.history.sqlite_store import SqliteHistory
from gateway.ingest.epochs import latest_marks, to_ask_about
from gateway.ingest.intake import Arrival, Intake, Standing
from gateway.ingest.questions import (
    ASKED_A_TURN,
    HEARD_S,
    WAITS_S,
    Questions,
    asked,
    heard,
    raised,
)
from gateway.ingest.receipts import Outgoing
from tests.gateway.build import EPOCH, NEXT_EPOCH, UNIT, epoch_start, interval, key, message, topic

BACKFILL = f"seafret/1/{UNIT}/down/backfill"


def told(outgoing: tuple[Outgoing, ...]) -> list[tuple[str, str, int, int]]:
    """Epoch, stream, first and last of each question."""
    found = [json.loads(one.payload) for one in outgoing if one.topic == BACKFILL]
    return [(one["epoch"], one["stream"], one["from"], one["to"]) for one in found]


def all_five(epoch: str, upto: int = 0) -> list[tuple[str, str, int, int]]:
    return [(epoch, stream.value, upto + 1, upto + 1) for stream in Stream]


def test_an_epoch_heard_of_first_is_asked_about_in_all_five_streams_with_the_one_before() -> None:
    standing = Standing(key(), 3, previous_epoch=NEXT_EPOCH)
    questions = heard(Questions(), [standing], [], 0.0)
    questions, outgoing = asked(questions, {key(): 3}, 0.0, 0)
    first = [(EPOCH, one.value, 4, 4) if one is Stream.INTERVAL else (EPOCH, one.value, 1, 1)
             for one in Stream]  # fmt: skip
    assert told(outgoing) == [*first, *all_five(NEXT_EPOCH)]
    assert {one.qos for one in outgoing} == {1}


def test_an_epoch_of_which_nothing_has_entered_is_not_asked_about() -> None:
    questions = heard(Questions(), [Standing(key(), 0, gap=(1, 8))], [], 0.0)
    assert asked(questions, {}, 0.0, 0)[1] == ()


def test_known_epochs_are_asked_about_once_the_unit_is_heard() -> None:
    questions = raised(Questions(), [(UNIT, EPOCH)], 0.0)
    assert asked(questions, {}, 50.0, 0)[1] == ()
    questions = heard(questions, [], [UNIT], 60.0)
    assert told(asked(questions, {}, 60.0, 0)[1]) == all_five(EPOCH)


def test_a_question_is_repeated_seldom_and_only_while_the_unit_is_heard() -> None:
    questions, times = Questions(), []
    for second in range(4 * int(WAITS_S[-1])):
        if second < 2 * WAITS_S[-1]:
            questions = heard(questions, [Standing(key(), 3)], [], float(second))
        questions, outgoing = asked(questions, {key(): 3}, float(second), 0)
        times += [second] * bool(outgoing)
    assert times == [0, 20, 80, 3680, 7280]
    assert times[-1] < 2 * WAITS_S[-1] + HEARD_S


def test_a_fleet_is_asked_in_turn_and_nobody_is_left_out() -> None:
    units = [f"north-head.m{n}" for n in range(30)]
    questions = raised(Questions(), [(unit, EPOCH) for unit in units], 0.0)
    questions = heard(questions, [], units, 0.0)
    seen: list[str] = []
    for _ in range(30):
        questions, outgoing = asked(questions, {}, 0.0, 0)
        assert len(outgoing) <= ASKED_A_TURN
        seen += [one.topic.split("/")[2] for one in outgoing]
    assert sorted(seen) == sorted(units * len(Stream))


@pytest.fixture
def intake(tmp_path: Path) -> Iterator[Intake]:
    intake = Intake(SqliteHistory(tmp_path), ["north-head"], lambda *_: None)
    yield intake
    intake.close()


def take(intake: Intake, epoch: str, previous: str, stream: Stream = Stream.INTERVAL) -> Standing:
    rows = [epoch_start(previous), interval(1)] if stream is Stream.INTERVAL else [
        epoch_start(previous)
    ]  # fmt: skip
    arrival = Arrival(topic(stream), message(1, rows, stream, epoch=epoch), False, at_us=1)
    (standing,) = intake.commit([arrival], at_us=1)
    return standing


def test_after_its_start_a_gateway_asks_about_the_newest_epochs_and_those_they_chain_to(
    intake: Intake, tmp_path: Path
) -> None:
    epochs = [f"{n:x}-{n:016x}" for n in range(1, 7)]
    for before, epoch in pairwise(epochs):
        take(intake, epoch, before)
    assert to_ask_about(SqliteHistory(tmp_path), intake.marks) == [
        (UNIT, epoch) for epoch in (epochs[3], epochs[2], epochs[4], epochs[5])
    ]


class CountedHistory(SqliteHistory):
    """How often a reader was opened."""

    opened = 0

    def reader(self, site: str) -> SqliteReader:
        self.opened += 1
        return super().reader(site)


def test_a_start_opens_each_site_once_whatever_the_number_of_its_units(
    intake: Intake, tmp_path: Path
) -> None:
    """Opening is what takes time: a fleet of a thousand units has fifteen thousand streams."""
    for stream in Stream:
        for epoch, before in ((EPOCH, ""), (NEXT_EPOCH, EPOCH)):
            take(intake, epoch, before, stream)
    history = CountedHistory(tmp_path)
    assert len(to_ask_about(history, intake.marks)) == 2
    assert history.opened == 1


def test_a_message_that_begins_an_epoch_tells_of_the_one_before(intake: Intake) -> None:
    assert take(intake, EPOCH, "").previous_epoch == ""
    assert take(intake, NEXT_EPOCH, EPOCH).previous_epoch == EPOCH


def test_the_latest_marks_are_those_of_the_newest_epoch_of_each_stream(intake: Intake) -> None:
    take(intake, EPOCH, "")
    take(intake, EPOCH, "", Stream.ALARM)
    take(intake, NEXT_EPOCH, EPOCH)
    assert latest_marks(intake.marks) == {
        key(Stream.ALARM): 1,
        key(epoch=NEXT_EPOCH): 2,
    }
