"""Every record survives the wire, its line is the only one it has, and hostile input is refused."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge.records import Stream, UnitEvent, WeatherRow
from edge.wire import (
    MESSAGE_BYTES_MAX,
    NESTING_MAX,
    RECORDS_PER_MESSAGE_MAX,
    Batch,
    Line,
    Refused,
    batch_message,
    body_line,
    canonical,
    digest,
    load_json,
    read_batch,
    read_record,
)
from tests.properties.record_strategies import KINDS, record_of, records

WEATHER = WeatherRow(start_us=0, duration_us=60_000_000, rh_cpct=9_312)
HUGE = 1 << 63


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
@given(draws=st.data())
@settings(max_examples=25, deadline=None)
def test_a_record_of_any_kind_comes_back_as_it_was(kind: type, draws: st.DataObject) -> None:
    record = draws.draw(record_of(kind))
    back = read_record(body_line(record))
    assert type(back) is kind
    assert back == record


@given(records())
@settings(max_examples=100, deadline=None)
def test_a_canonical_line_is_its_own_canonical_line(record: Any) -> None:
    line = body_line(record)
    assert canonical(json.loads(line)) == line
    assert body_line(read_record(line)) == line
    assert b"\n" not in line


@given(records(), records())
@settings(max_examples=50, deadline=None)
def test_records_that_differ_have_different_digests(one: Any, other: Any) -> None:
    assert (digest(body_line(one)) == digest(body_line(other))) == (one == other)


def batch(*bodies: bytes) -> Batch:
    lines = tuple(Line(n + 1, 7 * n, 1_000 + n, body) for n, body in enumerate(bodies))
    return Batch("saltmarsh.mast-3", "1-00000000000000aa", Stream.WEATHER, "b1", "ntp", lines)


@given(st.lists(records(), min_size=1, max_size=3))
@settings(max_examples=50, deadline=None)
def test_bodies_arrive_in_a_message_byte_for_byte(sent: list[Any]) -> None:
    wrapped = batch(*[body_line(record) for record in sent])
    if len(batch_message(wrapped)) <= MESSAGE_BYTES_MAX:
        assert read_batch(batch_message(wrapped)) == wrapped


def body_with(**changes: Any) -> bytes:
    return json.dumps(json.loads(body_line(WEATHER)) | changes).encode()


@pytest.mark.parametrize(
    ("key", "found"),
    [
        ("rh_cpct", 93.12), ("rh_cpct", "9312"), ("rh_cpct", True), ("rh_cpct", [9312]),
        ("rh_cpct", -1), ("rh_cpct", HUGE), ("rh_cpct", 10**400), ("rh_cpct", {}),
        ("start_us", None), ("start_us", -1), ("start_us", 253_402_300_800_000_000),
        ("duration_us", "60000000"), ("air_cdegc", -HUGE), ("flags", "late"), ("flags", [""]),
        ("flags", [1]), ("flags", ["x" * 65]), ("kind", "wether"), ("kind", None), ("kind", 3),
    ],
    ids=lambda part: str(part)[:24],
)  # fmt: skip
def test_a_wrong_type_or_a_number_out_of_range_is_refused_with_its_key(
    key: str, found: Any
) -> None:
    with pytest.raises(Refused) as fault:
        read_record(body_with(**{key: found}))
    assert fault.value.reason in ("body", "not-json")
    assert "\n" not in str(fault.value)
    assert key in str(fault.value) or key == "kind" or fault.value.reason == "not-json"


def test_a_missing_key_is_refused_and_an_unknown_one_is_ignored() -> None:
    plain = json.loads(body_line(WEATHER))
    del plain["start_us"]
    with pytest.raises(Refused, match=r"start_us"):
        read_record(json.dumps(plain).encode())
    assert read_record(body_with(later_key=[1, {"a": None}])) == WEATHER


@pytest.mark.parametrize("word", [b"NaN", b"Infinity", b"-Infinity"])
def test_not_a_number_and_infinity_are_refused_wherever_they_stand(word: bytes) -> None:
    for line in (b'{"kind":"weather","rh_cpct":%b}' % word, b"[%b]" % word, word):
        with pytest.raises(Refused) as fault:
            load_json(line)
        assert fault.value.reason == "not-a-number"
        with pytest.raises(Refused):
            read_record(line)


@pytest.mark.parametrize("opening", [b"[", b'{"a":', b'[{"a":'])
def test_deep_nesting_is_refused_unread(opening: bytes) -> None:
    for depth in (NESTING_MAX + 1, 10_000):
        with pytest.raises(Refused) as fault:
            load_json(opening * depth)
        assert fault.value.reason == "too-deep"


def test_brackets_inside_a_text_are_no_nesting() -> None:
    event = UnitEvent(event="x", at_us=0, detail={"said": '[[[[[[[[[[\\"{{{{{{{{{{', "b": "]}\\"})
    assert read_record(body_line(event)) == event


@given(st.text(max_size=60))
@settings(deadline=None)
def test_no_text_is_taken_for_nesting(said: str) -> None:
    event = UnitEvent(event="x", at_us=0, detail={"said": said, "again": said + "[" * 9})
    if said.isprintable():
        assert read_record(body_line(event)) == event


@pytest.mark.parametrize(
    "line",
    [b'{"a":1,"a":1}', b'{"a":{"b":1,"b":2}}', b'[{"a":1,"\\u0061":2}]'],
)
def test_a_repeated_key_is_refused_however_it_is_written(line: bytes) -> None:
    with pytest.raises(Refused) as fault:
        load_json(line)
    assert fault.value.reason == "repeated-key"


@pytest.mark.parametrize(
    "line", [b"", b"{", b"nonsense", b'{"a":}', b"\xff\xfe", b'"\xc3"', b"1" * 5_000, b"[1,]"]
)
def test_what_is_no_json_is_refused_as_such(line: bytes) -> None:
    with pytest.raises(Refused) as fault:
        load_json(line)
    assert fault.value.reason == "not-json"


def test_a_message_beyond_64_kib_is_refused_unread() -> None:
    with pytest.raises(Refused) as fault:
        load_json(b" " * (MESSAGE_BYTES_MAX + 1))
    assert fault.value.reason == "too-large"


@given(st.binary(max_size=200))
@settings(max_examples=200, deadline=None)
def test_any_bytes_are_read_or_refused_and_nothing_else(payload: bytes) -> None:
    for read in (load_json, read_record, read_batch):
        try:
            read(payload)
        except Refused as fault:
            assert fault.reason


def spoiled(**changes: Any) -> bytes:
    return json.dumps(json.loads(batch_message(batch(body_line(WEATHER)))) | changes).encode()


@pytest.mark.parametrize(
    ("key", "found", "reason"),
    [
        ("v", 2, "future-schema"), ("v", 0, "envelope"), ("v", "1", "envelope"),
        ("v", True, "envelope"), ("v", None, "envelope"), ("unit", "Salt Marsh", "envelope"),
        ("unit", "saltmarsh.mast-3\n", "envelope"), ("epoch", "1", "envelope"),
        ("stream", "gossip", "envelope"), ("boot", "", "envelope"), ("records", [], "envelope"),
        ("records", {}, "envelope"), ("records", [3], "envelope"),
        ("records", [{"seq": 0, "t_boot_ns": 0, "t_utc": 0, "body": {}}], "envelope"),
        ("records", [{"seq": HUGE, "t_boot_ns": 0, "t_utc": 0, "body": {}}], "envelope"),
        ("records", [{"seq": 1, "t_boot_ns": 0, "t_utc": 0, "body": "x"}], "envelope"),
        ("records", [{"seq": 1.0, "t_boot_ns": 0, "t_utc": 0, "body": {}}], "envelope"),
        (
            "records",
            [{"seq": 1, "t_boot_ns": 0, "t_utc": 0, "body": {}}] * (RECORDS_PER_MESSAGE_MAX + 1),
            "envelope",
        ),
    ],
    ids=lambda part: str(part)[:24],
)  # fmt: skip
def test_a_spoiled_envelope_is_refused_with_its_reason(key: str, found: Any, reason: str) -> None:
    with pytest.raises(Refused) as fault:
        read_batch(spoiled(**{key: found}))
    assert fault.value.reason == reason


def test_an_unquantised_number_cannot_leave() -> None:
    with pytest.raises(TypeError, match=r"unquantised number 0\.5"):
        body_line(UnitEvent(event="x", at_us=0, detail={"level": 0.5}))  # type: ignore[dict-item]
