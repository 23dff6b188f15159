"""From messages into a real history: once, in order, whatever else is thrown in."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from edge.records import Record
from edge.wire import batch_message, body_line
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import GATEWAY_SITE, Commit, Entry, SiteReader
from gateway.ingest.intake import Arrival, Intake
from gateway.ingest.refusals import PAYLOAD_KEPT_MAX, REFUSED_A_COMMIT_MAX
from tests.gateway.build import (
    EPOCH,
    NEXT_EPOCH,
    batch,
    epoch_start,
    interval,
    key,
    line,
    loss,
    message,
    topic,
)
from tests.gateway.ingest.test_admission import future

SITE = "north-head"


@pytest.fixture
def history(tmp_path: Path) -> SqliteHistory:
    return SqliteHistory(tmp_path)


@pytest.fixture
def told() -> list[tuple[str, Commit]]:
    return []


@pytest.fixture
def intake(history: SqliteHistory, told: list[tuple[str, Commit]]) -> Iterator[Intake]:
    intake = Intake(history, [SITE, "south"], lambda site, commit: told.append((site, commit)))
    yield intake
    intake.close()


def arrival(payload: bytes, of: str = topic(), retained: bool = False) -> Arrival:
    return Arrival(of, payload, retained, at_us=1)


def story(length: int) -> list[Record]:
    return [epoch_start(), *(interval(n) for n in range(1, length))]


def in_history(history: SqliteHistory, site: str, ask: Callable[[SiteReader], object]) -> object:
    reader = history.reader(site)
    try:
        return ask(reader)
    finally:
        reader.close()


def lines(history: SqliteHistory) -> list[Entry]:
    reader = history.reader(SITE)
    try:
        return reader.lines(key())
    finally:
        reader.close()


def test_what_is_committed_is_told_and_receipted_only_then(
    intake: Intake, history: SqliteHistory, told: list[tuple[str, Commit]]
) -> None:
    standings = intake.commit([arrival(message(1, story(5)))], at_us=9)
    assert [(one.key, one.upto, one.gap) for one in standings] == [(key(), 5, None)]
    assert [one.body for one in lines(history)] == [body_line(record) for record in story(5)]
    assert [(site, len(commit.entries)) for site, commit in told] == [(SITE, 5)]


def test_many_messages_of_a_stream_go_in_one_commit_in_order(
    intake: Intake, history: SqliteHistory, told: list[tuple[str, Commit]]
) -> None:
    records = story(9)
    parts = [arrival(message(1 + n, records[n : n + 3])) for n in (0, 3, 3, 2, 6)]
    standings = intake.commit(parts, at_us=9)
    assert [one.upto for one in standings] == [9]
    assert [one.seq for one in lines(history)] == list(range(1, 10))
    assert len(told) == 1


def test_a_conflict_with_a_line_of_the_same_commit_is_seen(
    intake: Intake, history: SqliteHistory
) -> None:
    other = interval(2, peak_ua=99)
    intake.commit([arrival(message(1, story(3))), arrival(message(3, [other]))], at_us=9)
    refused = in_history(history, SITE, lambda reader: reader.refusals())
    assert [(one.reason, one.payload) for one in refused] == [("conflict", body_line(other))]
    assert [one.record for one in lines(history)] == story(3)


def test_marks_outlive_the_process(history: SqliteHistory) -> None:
    for first in (1, 4):
        intake = Intake(history, [SITE], lambda site, commit: None)
        intake.commit([arrival(message(first, story(6)[first - 1 :][:3]))], at_us=9)
        intake.close()
    intake = Intake(history, [SITE], lambda site, commit: None)
    standings = intake.commit([arrival(message(2, story(6)[1:4]))], at_us=9)
    assert [one.upto for one in standings] == [6]
    intake.close()
    assert [one.record for one in lines(history)] == story(6)


def test_a_duplicate_alone_changes_nothing_but_is_answered(
    intake: Intake, told: list[tuple[str, Commit]]
) -> None:
    intake.commit([arrival(message(1, story(3)))], at_us=9)
    standings = intake.commit([arrival(message(1, story(3)))], at_us=9)
    assert [one.upto for one in standings] == [3]
    assert len(told) == 1


def test_a_refused_message_is_kept_with_its_reason_and_is_a_security_event(
    intake: Intake, history: SqliteHistory
) -> None:
    forged = message(1, story(2))
    intake.commit([arrival(forged, topic(unit="south.m9"))] * 3, at_us=9)
    kept = in_history(history, GATEWAY_SITE, lambda reader: reader.refusals())
    assert [(one.reason, one.payload) for one in kept] == [("identity", forged)] * 3
    events = in_history(history, GATEWAY_SITE, lambda reader: reader.security_events())
    assert [(one.unit, one.event, one.count) for one in events] == [("south.m9", "identity", 3)]
    assert lines(history) == []


def test_a_flood_of_refusals_is_bounded_within_a_commit_and_still_counted(
    intake: Intake, history: SqliteHistory
) -> None:
    huge = b"x" * (PAYLOAD_KEPT_MAX + 999)
    intake.commit([arrival(huge)] * 200, at_us=9)
    kept = in_history(history, GATEWAY_SITE, lambda reader: reader.refusals())
    assert len(kept) == REFUSED_A_COMMIT_MAX
    assert {(len(one.payload), one.size_bytes) for one in kept} == {(PAYLOAD_KEPT_MAX, len(huge))}
    events = in_history(history, GATEWAY_SITE, lambda reader: reader.security_events())
    assert [one.count for one in events] == [200]


def test_a_site_that_is_not_registered_gets_no_history(
    intake: Intake, history: SqliteHistory
) -> None:
    unit = "elsewhere.m1"
    payload = message(1, story(2), unit=unit)
    assert intake.commit([arrival(payload, topic(unit=unit))], at_us=9) == ()
    assert history.sites() == ["north-head", "south"]
    kept = in_history(history, GATEWAY_SITE, lambda reader: reader.refusals())
    assert [one.reason for one in kept] == ["unknown-site"]


def test_a_message_from_the_future_is_kept_raw_and_receipted(
    intake: Intake, history: SqliteHistory
) -> None:
    payload = future(3, 4)
    intake.commit([arrival(message(1, story(2)))], at_us=9)
    assert [one.upto for one in intake.commit([arrival(payload)], at_us=9)] == [6]
    assert [one.upto for one in intake.commit([arrival(payload)], at_us=9)] == [6]
    raw = in_history(history, SITE, lambda reader: reader.raw_messages())
    assert [(one.first, one.last, one.payload) for one in raw] == [(3, 6, payload)]


def test_a_gap_is_told_and_nothing_above_it_is_stored(
    intake: Intake, history: SqliteHistory
) -> None:
    intake.commit([arrival(message(1, story(2)))], at_us=9)
    standings = intake.commit([arrival(message(5, [interval(4)]))], at_us=9)
    assert [(one.upto, one.gap) for one in standings] == [(2, (3, 4))]
    assert len(lines(history)) == 2


def test_epochs_chain_and_one_that_does_not_is_noticed(
    intake: Intake, history: SqliteHistory
) -> None:
    chained = message(1, [epoch_start(EPOCH)], epoch=NEXT_EPOCH)
    stranger = message(1, [epoch_start()], epoch="9-0000000000000009")
    intake.commit([arrival(message(1, story(2))), arrival(chained), arrival(stranger)], at_us=9)
    events = in_history(history, SITE, lambda reader: reader.security_events())
    assert [one.event for one in events] == ["epoch-unchained"]
    assert NEXT_EPOCH in events[0].detail


def test_another_writer_is_noticed_and_the_commit_succeeds_when_given_again(
    intake: Intake, history: SqliteHistory
) -> None:
    intake.commit([arrival(message(1, story(2)))], at_us=9)
    other = Intake(history, [SITE], lambda site, commit: None)
    other.commit([arrival(message(3, story(4)[2:]))], at_us=9)
    other.close()
    with pytest.raises(OSError, match="another writer"):
        intake.commit([arrival(message(3, story(5)[2:]))], at_us=9)
    standings = intake.commit([arrival(message(3, story(5)[2:]))], at_us=9)
    assert [one.upto for one in standings] == [5]
    assert [one.record for one in lines(history)] == story(5)


@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.data())
def test_a_hostile_network_changes_nothing_in_the_history(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    history = SqliteHistory(tmp_path_factory.mktemp("history"))
    intake = Intake(history, [SITE], lambda site, commit: None)
    records, upto = story(40), 0
    part = st.tuples(st.integers(0, 39), st.integers(1, 12), st.integers(0, 3))
    for commit in data.draw(st.lists(st.lists(part, max_size=6), max_size=6)):
        arrivals = [
            arrival(message(1 + first, records[first : first + count])[: None if cut < 3 else -cut])
            for first, count, cut in commit
        ]
        for standing in intake.commit(arrivals, at_us=9):
            assert standing.upto >= upto
            upto = standing.upto
    intake.commit([arrival(message(1 + n, records[n : n + 8])) for n in range(0, 40, 8)], at_us=9)
    intake.close()
    assert [one.record for one in lines(history)] == records
    assert [one.seq for one in lines(history)] == list(range(1, 41))


def test_a_record_that_comes_after_its_loss_record_is_kept_with_its_reason(
    intake: Intake, history: SqliteHistory
) -> None:
    rows = [*story(3), loss(4, 6)]
    sent = [line(1 + n, one) for n, one in enumerate(rows[:3])] + [line(6, rows[3])]
    for at, one in enumerate(sent, 1):
        whole = replace(batch(at, [interval()]), lines=(one,))
        intake.commit([arrival(batch_message(whole))], at_us=9)
    late = replace(batch(4, [interval()]), lines=tuple(line(n, interval(n)) for n in (4, 5, 6)))
    (standing,) = intake.commit([arrival(batch_message(late))], at_us=9)
    assert standing.upto == 6
    refused = in_history(history, SITE, lambda reader: reader.refusals())
    assert {(one.reason, one.text) for one in refused} == {  # type: ignore[attr-defined]
        ("given-up-before", f"number {n} is covered by a loss record") for n in (4, 5, 6)
    }
    events = in_history(history, SITE, lambda reader: reader.security_events())
    assert [(one.event, one.count) for one in events] == [("record-after-loss", 3)]  # type: ignore[attr-defined]
    assert [one.seq for one in lines(history)] == [1, 2, 3, 6]
