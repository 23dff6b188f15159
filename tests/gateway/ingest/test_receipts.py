"""Receipts: after every commit, repeated, and requests for what stays missing."""

from __future__ import annotations

import json
from itertools import pairwise

from edge.records import Stream
from gateway.ingest.intake import Arrival, Standing
from gateway.ingest.receipts import (
    ASK_AGAIN_S,
    GAP_PATIENCE_S,
    GAP_TRIES,
    HEARD_LATELY_S,
    REPEAT_S,
    TOLD_A_TURN,
    Book,
    Outgoing,
    after_commit,
    greeted,
    on_time,
    welcome,
)
from gateway.ingest.subscription import UnitState, read_state
from tests.gateway.build import EPOCH, UNIT, key

RECEIPT = f"seafret/1/{UNIT}/down/receipt"
BACKFILL = f"seafret/1/{UNIT}/down/backfill"
NOW_US = 1_000_000


def requests(outgoing: tuple[Outgoing, ...]) -> list[dict[str, object]]:
    return [json.loads(one.payload) for one in outgoing if one.topic == BACKFILL]


def with_gap(book: Book, upto: int, now_s: float) -> tuple[Book, tuple[Outgoing, ...]]:
    return after_commit(book, (Standing(key(), upto, (upto + 1, 20)),), now_s, NOW_US)


def test_a_receipt_is_cumulative_canonical_and_of_quality_0() -> None:
    _, outgoing = after_commit(Book(), (Standing(key(), 41),), 0.0, NOW_US)
    payload = f'{{"epoch":"{EPOCH}","stream":"interval","upto":41}}'.encode()
    assert outgoing == (Outgoing(RECEIPT, payload, 0),)


def test_a_duplicate_is_answered_again() -> None:
    book, first = after_commit(Book(), (Standing(key(), 41),), 0.0, NOW_US)
    _, second = after_commit(book, (Standing(key(), 41),), 0.1, NOW_US)
    assert first == second


def test_receipts_repeat_while_the_stream_is_heard_and_then_cease() -> None:
    book, _ = after_commit(Book(), (Standing(key(), 41),), 0.0, NOW_US)
    repeated = []
    for second in range(1, int(HEARD_LATELY_S) + 200):
        book, outgoing = on_time(book, float(second))
        repeated += [second] * len(outgoing)
    assert repeated == list(range(int(REPEAT_S), int(HEARD_LATELY_S) + 1, int(REPEAT_S)))
    assert book.streams == {}


def test_a_gateway_that_is_back_tells_every_stream_where_it_stands_at_once() -> None:
    marks = {key(unit=f"north-head.pole-{n}"): n for n in range(TOLD_A_TURN + 50)}
    book, _ = after_commit(Book(), (Standing(key(), 41),), 0.0, NOW_US)
    book = greeted(book, marks, 1.0)
    told = []
    for _ in range(3):
        book, outgoing = on_time(book, 1.0)
        assert len(outgoing) <= TOLD_A_TURN
        told += [json.loads(one.payload)["upto"] for one in outgoing]
    assert sorted(told) == sorted([41, *marks.values()])


def test_a_unit_that_says_it_is_online_is_told_where_all_its_streams_stand() -> None:
    told = [json.loads(one.payload) for one in welcome(UNIT, EPOCH, {key(Stream.ALARM): 7})]
    assert {(one["epoch"], one["stream"], one["upto"]) for one in told} == {
        (EPOCH, stream.value, 7 if stream is Stream.ALARM else 0) for stream in Stream
    }


def test_a_state_that_says_no_sound_epoch_is_still_a_state() -> None:
    topic = f"seafret/1/{UNIT}/state"
    for epoch, found in ((EPOCH, EPOCH), ("1-x", ""), (7, ""), (EPOCH + "\n", "")):
        payload = json.dumps({"epoch": epoch, "state": "online"}).encode()
        state = read_state(Arrival(topic, payload, True, at_us=1))
        assert state == UnitState(UNIT, "online", found)


def test_a_gap_is_answered_by_the_receipt_first_and_then_asked_for() -> None:
    book, outgoing = with_gap(Book(), 7, 0.0)
    for step in range(1, GAP_TRIES + 1):
        assert requests(outgoing) == []
        book, outgoing = with_gap(book, 7, step * GAP_PATIENCE_S)
    asked = {"epoch": EPOCH, "stream": "interval", "from": 8, "to": 20, "expires_us": 61_000_000}
    assert requests(outgoing) == [asked]
    assert [one.qos for one in outgoing if one.topic == BACKFILL] == [1]


def test_a_burst_above_a_gap_is_no_reason_to_ask() -> None:
    book = Book()
    for _ in range(50):
        book, outgoing = with_gap(book, 7, 0.5)
        assert requests(outgoing) == []


def test_a_gap_is_not_asked_for_more_often_than_the_limit() -> None:
    book, asked_s = Book(), []
    for step in range(400):
        now_s = step / 10
        book, outgoing = with_gap(book, 7, now_s)
        asked_s += [now_s] * len(requests(outgoing))
    assert asked_s[0] == GAP_PATIENCE_S
    assert all(later - earlier >= ASK_AGAIN_S for earlier, later in pairwise(asked_s))
    assert len(asked_s) == 4


def test_progress_starts_the_patience_anew() -> None:
    book, _ = with_gap(Book(), 7, 0.0)
    for step in range(30):
        book, outgoing = with_gap(book, 8 + step, 5.0 * step)
        assert requests(outgoing) == []


def test_streams_do_not_answer_for_each_other() -> None:
    standings = (Standing(key(), 3), Standing(key(Stream.ALARM), 9))
    _, outgoing = after_commit(Book(), standings, 0.0, NOW_US)
    assert [json.loads(one.payload)["upto"] for one in outgoing] == [3, 9]
