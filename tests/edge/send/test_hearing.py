"""What the unit hears is checked once; what is not right is told, never acted upon."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.records import Stream
from edge.send.hearing import hear
from edge.send.messages import Asked, BackfillAsked, Notice, Receipted
from edge.wire import canonical

UNIT = "site.pole"
EPOCH = "1-0123456789abcdef"
RECEIPT = {"epoch": EPOCH, "stream": "alarm", "upto": 7}
BACKFILL = {"epoch": EPOCH, "stream": "interval", "from": 3, "to": 9, "expires_us": 1000}


def heard(verb: str, payload: bytes, *, retained: bool = False, now_us: int | None = 500) -> object:
    topic = f"seafret/1/{UNIT}/down/{verb}"
    return hear(UNIT, topic, payload, retained=retained, now_us=now_us)


def test_a_receipt_is_heard() -> None:
    assert heard("receipt", canonical(RECEIPT)) == Receipted(EPOCH, Stream.ALARM, 7)


def test_a_backfill_is_heard_until_it_expires() -> None:
    asked = BackfillAsked(EPOCH, Stream.INTERVAL, 3, 9)
    assert heard("backfill", canonical(BACKFILL), now_us=1000) == asked
    assert heard("backfill", canonical(BACKFILL), now_us=1001) is None
    assert heard("backfill", canonical(BACKFILL), now_us=None) == asked


def test_another_request_is_handed_on_as_it_came() -> None:
    assert heard("capture", b"anything") == Asked("capture", b"anything")


@pytest.mark.parametrize(
    "change",
    [
        {"upto": -1},
        {"upto": 7.0},
        {"upto": "7"},
        {"upto": True},
        {"upto": 1 << 63},
        {"epoch": "latest"},
        {"epoch": EPOCH + "\n"},
        {"stream": "everything"},
        {"upto": None},
    ],
)
def test_a_receipt_that_is_not_right_is_a_security_event(change: dict[str, object]) -> None:
    import json

    notice = heard("receipt", json.dumps(RECEIPT | change).encode())
    assert isinstance(notice, Notice)
    assert (notice.event, notice.security) == ("request-refused", True)


def test_a_retained_receipt_is_refused() -> None:
    assert isinstance(heard("receipt", canonical(RECEIPT), retained=True), Notice)


def test_a_message_on_another_units_topic_is_refused() -> None:
    other = hear(UNIT, "seafret/1/site.other/down/receipt", b"{}", retained=False, now_us=1)
    assert isinstance(other, Notice)


@given(st.binary(max_size=300), st.sampled_from(["receipt", "backfill"]))
def test_no_bytes_whatever_raise(payload: bytes, verb: str) -> None:
    assert isinstance(heard(verb, payload), Notice | Receipted | BackfillAsked)


@pytest.mark.parametrize("payload", [b"[" * 50_000, b'{"a":' * 20_000, b"9" * 60_000, b"NaN"])
def test_hostile_json_is_refused(payload: bytes) -> None:
    assert isinstance(heard("receipt", payload), Notice)
