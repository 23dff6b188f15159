"""Admission: what enters, what is a duplicate, what is refused, and that nothing is ever raised."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge.records import Record, Stream
from edge.wire import MESSAGE_BYTES_MAX, Batch, Line, batch_message, body_line
from gateway.ingest.admission import (
    EPOCHS_MAX,
    Known,
    Refusal,
    Verdict,
    admit,
    admit_future,
    digest16,
    read_message,
)
from gateway.ingest.future import FutureBatch
from tests.gateway.build import (
    EPOCH,
    NEXT_EPOCH,
    batch,
    condition,
    epoch_start,
    interval,
    line,
    loss,
    message,
    topic,
    weather,
)


@dataclass
class Stored:
    """A history of one stream, as small as can be."""

    upto: int | None = None
    lines: list[Line] = field(default_factory=list)
    digests: dict[int, bytes] = field(default_factory=dict)
    kept_raw: list[tuple[int, int]] = field(default_factory=list)

    def take(self, of: str, payload: bytes) -> Verdict | Refusal:
        read = read_message(of, payload, retained=False)
        if isinstance(read, Refusal):
            return read
        known = Known(self.upto, self.digests, EPOCH if self.upto else "", int(bool(self.upto)))
        if isinstance(read, FutureBatch):
            verdict = admit_future(read, known)
            self.kept_raw += [(read.first, read.last)] if verdict.upto > (self.upto or 0) else []
        else:
            verdict = admit(read, known)
        self.lines += [one.line for one in verdict.accepted]
        self.digests.update({one.line.seq: one.digest for one in verdict.accepted})
        self.upto = verdict.upto or None
        return verdict


def story(length: int) -> list[Record]:
    return [epoch_start(), *(interval(n) for n in range(1, length))]


def known_upto(upto: int, *records: Record) -> Known:
    """What is known of a stream whose last lines are `records`."""
    first = upto - len(records) + 1
    digests = {first + n: digest16(body_line(record)) for n, record in enumerate(records)}
    return Known(upto, digests, EPOCH, 1)


@settings(max_examples=60, deadline=None)
@given(st.data(), st.integers(1, 30))
def test_in_any_order_twice_or_cut_short_the_history_is_what_was_sent_in_order_once(
    data: st.DataObject, length: int
) -> None:
    lines = [line(1 + n, record) for n, record in enumerate(story(length))]
    whole = Batch("north-head.m1", EPOCH, Stream.INTERVAL, "boot-1", "ntp", tuple(lines))
    stored = Stored()
    cuts = st.tuples(st.integers(0, length - 1), st.integers(1, length), st.integers(0, 9))
    for first, count, cut in data.draw(st.lists(cuts, max_size=30)):
        part = batch_message(
            Batch(**{**fields_of(whole), "lines": tuple(lines[first : first + count])})
        )
        stored.take(topic(), part[: len(part) - cut] if cut > 5 else part)
        assert [one.seq for one in stored.lines] == list(range(1, (stored.upto or 0) + 1))
    while (stored.upto or 0) < length:
        part = Batch(**{**fields_of(whole), "lines": tuple(lines[stored.upto or 0 :][:7])})
        stored.take(topic(), batch_message(part))
    assert stored.lines == lines


def fields_of(whole: Batch) -> dict[str, object]:
    return {name: getattr(whole, name) for name in ("unit", "epoch", "stream", "boot", "clock")}


def test_only_the_next_line_enters_and_a_gap_says_what_is_missing() -> None:
    verdict = admit(batch(9, [interval(8)]), known_upto(5))
    assert verdict == Verdict(5, gap=(6, 8))


def test_a_message_that_overlaps_the_mark_enters_with_its_new_lines_only() -> None:
    verdict = admit(batch(4, [interval(n) for n in range(3, 7)]), known_upto(5))
    assert [one.line.seq for one in verdict.accepted] == [6, 7]
    assert (verdict.upto, verdict.duplicates) == (7, 2)


def test_a_tombstone_for_what_has_arrived_is_no_conflict_and_changes_nothing() -> None:
    verdict = admit(batch(5, [loss(3, 5), interval(5)]), known_upto(5, interval(3), interval(4)))
    assert (verdict.conflicts, verdict.noticed, verdict.duplicates) == ((), (), 1)
    assert [one.line.seq for one in verdict.accepted] == [6]


def test_a_record_for_what_a_tombstone_stands_for_is_kept_beside_it_and_told() -> None:
    known = replace(known_upto(6, loss(4, 6)), given_up=((4, 6),))
    verdict = admit(batch(3, [interval(n) for n in range(3, 8)]), known)
    assert [one.seq for one in verdict.late] == [4, 5, 6]
    assert {one.event for one in verdict.noticed} == {"record-after-loss"}
    assert ([one.line.seq for one in verdict.accepted], verdict.conflicts) == ([7], ())


def test_the_same_number_with_another_body_is_a_conflict_and_never_enters() -> None:
    other = interval(4, peak_ua=1)
    verdict = admit(batch(5, [other, interval(5)]), known_upto(5, interval(4)))
    assert [one.seq for one in verdict.conflicts] == [5]
    assert [one.line.seq for one in verdict.accepted] == [6]
    assert [one.event for one in verdict.noticed] == ["conflict"]
    same = admit(batch(5, [interval(4)]), known_upto(5, interval(4)))
    assert (same.duplicates, same.conflicts) == (1, ())


def test_two_bodies_under_one_number_within_one_message_are_a_conflict() -> None:
    lines = (line(6, interval(5)), line(6, interval(6)))
    twice = Batch("north-head.m1", EPOCH, Stream.INTERVAL, "b", "c", lines)
    verdict = admit(twice, known_upto(5))
    assert (verdict.upto, [one.seq for one in verdict.conflicts]) == (6, [6])


def test_a_tombstone_moves_the_mark_over_what_it_speaks_of() -> None:
    verdict = admit(batch(9, [loss(6, 9), interval(9)]), known_upto(5))
    assert verdict.upto == 10
    assert [one.line.seq for one in verdict.accepted] == [9, 10]


def test_a_tombstone_that_reaches_back_below_the_mark_is_accepted() -> None:
    assert admit(batch(9, [loss(2, 9)]), known_upto(5)).upto == 9


@pytest.mark.parametrize("record", [loss(7, 9), loss(6, 8), loss(9, 6)])
def test_a_tombstone_of_other_numbers_does_not_close_a_gap(record: Record) -> None:
    verdict = admit(batch(9, [record]), known_upto(5))
    assert verdict.upto == 5
    assert verdict.gap is not None


def test_a_new_epoch_begins_with_its_start() -> None:
    fresh = Known(latest_epoch=EPOCH, epochs=1)
    chained = admit(batch(1, [epoch_start(EPOCH), interval(1)], epoch=NEXT_EPOCH), fresh)
    assert (chained.upto, chained.noticed) == (2, ())
    unchained = admit(batch(1, [epoch_start("")], epoch=NEXT_EPOCH), fresh)
    assert unchained.upto == 1
    assert [one.event for one in unchained.noticed] == ["epoch-unchained"]
    headless = admit(batch(1, [interval(1)], epoch=NEXT_EPOCH), fresh)
    assert headless.refusal is not None and headless.refusal.reason == "no-epoch-start"
    assert headless.upto == 0


def test_a_gateway_that_has_lost_everything_asks_from_the_first_line() -> None:
    assert admit(batch(500, [interval(1)]), Known()).gap == (1, 499)
    assert admit(batch(499, [loss(1, 499), interval(1)]), Known()).upto == 500


def test_an_old_epoch_that_speaks_again_is_taken_and_noticed() -> None:
    known = Known(5, {}, NEXT_EPOCH, 2)
    verdict = admit(batch(6, [interval(5)]), known)
    assert verdict.upto == 6
    assert [one.event for one in verdict.noticed] == ["epoch-returned"]


def test_a_unit_cannot_open_epochs_without_end() -> None:
    verdict = admit(batch(1, [epoch_start()]), Known(latest_epoch="x", epochs=EPOCHS_MAX))
    assert verdict.refusal is not None and verdict.refusal.reason == "too-many-epochs"


@pytest.mark.parametrize(
    ("body", "stream", "reason"),
    [
        (b'{"kind":"unheard-of"}', Stream.INTERVAL, "unreadable-record"),
        (b'{"kind":"weather","start_us":-1,"duration_us":1}', Stream.WEATHER, "unreadable-record"),
        (body_line(weather()), Stream.ALARM, "record-in-the-wrong-stream"),
        (body_line(interval(insulator="a,b")), Stream.INTERVAL, "insulator-name"),
        (body_line(condition(subject="a\x1b[2J")), Stream.ALARM, "insulator-name"),
    ],
)
def test_a_line_that_cannot_be_read_is_kept_raw_and_never_in_the_way(
    body: bytes, stream: Stream, reason: str
) -> None:
    lines = (Line(6, 1, 1, body),)
    verdict = admit(Batch("north-head.m1", EPOCH, stream, "b", "c", lines), known_upto(5))
    assert verdict.upto == 6
    assert [(one.record, one.unread) for one in verdict.accepted] == [(None, reason)]
    assert [one.event for one in verdict.noticed] == [reason]


@pytest.mark.parametrize(
    ("of", "payload", "reason"),
    [
        (topic(unit="north-head.m2"), message(1, [interval()]), "identity"),
        (topic(unit="south.m1"), message(1, [interval()]), "identity"),
        (topic(Stream.ALARM), message(1, [interval()]), "identity"),
        ("seafret/1/north-head.m1/up/other", message(1, [interval()]), "topic"),
        ("seafret/1/north-head.m1\n/up/interval", message(1, [interval()]), "topic"),
        ("seafret/1/NORTH.m1/up/interval", message(1, [interval()]), "topic"),
        ("", b"", "topic"),
        (topic(), b"", "not-json"),
        (topic(), b"\xff\xfe\x00", "not-json"),
        (topic(), b"[]", "envelope"),
        (topic(), b" " * (MESSAGE_BYTES_MAX + 1), "too-large"),
        (topic(), b"[" * 5000, "too-deep"),
        (topic(), b'{"v":NaN}', "not-a-number"),
        (topic(), b'{"v":1,"v":1}', "repeated-key"),
        (topic(), b'{"v":' + b"9" * 5000 + b"}", "not-json"),
        (topic(), b'{"v":true}', "envelope"),
    ],
)
def test_what_is_no_sound_message_is_refused_with_its_reason(
    of: str, payload: bytes, reason: str
) -> None:
    refused = read_message(of, payload, retained=False)
    assert isinstance(refused, Refusal)
    assert refused.reason == reason
    assert refused.hostile


def test_a_retained_measurement_is_refused() -> None:
    refused = read_message(topic(), message(1, [interval()]), retained=True)
    assert isinstance(refused, Refusal) and refused.reason == "retained"


def future(first: int, count: int, **changes: object) -> bytes:
    records = [{"seq": first + n, "thing": 1.5} for n in range(count)]
    head = {"v": 2, "unit": "north-head.m1", "epoch": EPOCH, "stream": "interval"}
    return json.dumps({**head, "records": records, **changes}).encode()


def test_a_message_from_the_future_takes_its_place_in_the_order() -> None:
    stored = Stored(upto=5)
    assert isinstance(gap := stored.take(topic(), future(8, 2)), Verdict) and gap.gap == (6, 7)
    stored.take(topic(), future(6, 3))
    assert isinstance(again := stored.take(topic(), future(6, 3)), Verdict) and again.duplicates
    assert (stored.upto, stored.kept_raw) == (8, [(6, 8)])
    stored.take(topic(), message(9, [interval(8)]))
    assert stored.upto == 9


def test_tombstones_of_a_later_schema_stand_for_the_numbers_that_they_name() -> None:
    """A newer unit after a long outage: else an older gateway would refuse its stream for ever."""
    stored = Stored(upto=5)
    inside = [{"seq": 6}, {"seq": 9, "body": json.loads(body_line(loss(7, 9)))}, {"seq": 10}]
    assert isinstance(stored.take(topic(), future(6, 3, records=inside)), Verdict)
    assert (stored.upto, stored.kept_raw) == (10, [(6, 10)])
    ahead = [{"seq": 14, "body": json.loads(body_line(loss(11, 14)))}, {"seq": 15}]
    assert isinstance(verdict := stored.take(topic(), future(11, 2, records=ahead)), Verdict)
    assert (stored.upto, stored.kept_raw[1:], verdict.gap) == (15, [(11, 15)], None)


@pytest.mark.parametrize(
    "changes",
    [
        {"unit": "x"},
        {"unit": 5},
        {"epoch": EPOCH + "\n"},
        {"stream": "other"},
        {"records": []},
        {"records": [{"seq": 1}, {"seq": 3}]},
        {"records": [{"seq": 1}, {"seq": 4, "body": {"kind": "loss", "first": 3, "last": 4}}]},
        {"records": [{"seq": 1}, {"seq": 4, "body": {"kind": "loss", "first": 2, "last": 9}}]},
        {"records": [{"seq": 1}, {"seq": 4, "body": {"kind": "loss", "first": "2", "last": 4}}]},
        {"records": [{"seq": 1}, {"seq": 4, "body": {"kind": "lost", "first": 2, "last": 4}}]},
        {"records": [{"seq": 3}, {"seq": 2, "body": {"kind": "loss", "first": 1, "last": 2}}]},
        {"records": [{"seq": True}]},
        {"records": [7]},
        {"records": [{"seq": 2**63}]},
        {"records": None},
    ],
)
def test_a_message_from_the_future_without_its_place_is_refused(changes: dict[str, object]) -> None:
    refused = read_message(topic(), future(1, 1, **changes), retained=False)
    assert isinstance(refused, Refusal) and refused.reason == "envelope"


def test_a_later_schema_of_another_unit_is_refused_too() -> None:
    refused = read_message(topic(unit="north-head.m2"), future(1, 1), retained=False)
    assert isinstance(refused, Refusal) and refused.reason == "identity"
