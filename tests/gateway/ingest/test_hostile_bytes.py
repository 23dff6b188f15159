"""Whatever comes: a verdict, never an exception."""

from __future__ import annotations

import json

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from edge.records import Stream
from edge.wire import Batch, Line
from gateway.ingest.admission import Known, Refusal, admit, read_message
from tests.gateway.build import EPOCH, interval, loss, message, topic
from tests.gateway.ingest.test_admission import Stored

HOSTILE = st.one_of(
    st.binary(max_size=400),
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
        max_leaves=20,
    ).map(lambda found: json.dumps(found).encode()),
)


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=80) | st.just(topic()), HOSTILE)
def test_no_bytes_on_any_topic_ever_raise(of: str, payload: bytes) -> None:
    assert isinstance(read_message(of, payload, retained=False), Refusal)


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_sound_message_with_any_bytes_overwritten_never_raises(data: st.DataObject) -> None:
    payload = bytearray(message(6, [interval(5), loss(7, 7)]))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(payload) - 1))
        payload[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    Stored(upto=5).take(topic(), bytes(payload))


SPLICES = [b"1e400", b"-0", b"1.5", b'"\\ud800"', b"[[[[[]]]]]", b"null", b"9" * 4000, b'"\\n"']


@pytest.mark.parametrize("spliced", SPLICES)
@pytest.mark.parametrize(
    "at", [b'"count":1', b'"stream":"interval"', b'"seq":6', b'"reason":"quota"']
)
def test_a_hostile_member_anywhere_never_raises(at: bytes, spliced: bytes) -> None:
    payload = message(6, [loss(6, 6)])
    assert at in payload
    hostile = payload.replace(at, at.split(b":")[0] + b":" + spliced)
    verdict = Stored(upto=5).take(topic(), hostile)
    assert isinstance(verdict, Refusal) or verdict.upto in (5, 6)


@example(b'{"kind":"unit-event","event":"\\ud800","at_us":1,"detail":{}}')
@given(st.binary(max_size=60))
def test_any_body_is_kept_or_read(body: bytes) -> None:
    verdict = admit(
        Batch("north-head.m1", EPOCH, Stream.HEALTH, "b", "c", (Line(6, 1, 1, body),)),
        Known(5, {}, EPOCH, 1),
    )
    assert verdict.upto == 6
