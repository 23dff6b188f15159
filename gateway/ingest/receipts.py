"""Receipts and requests to send again: what units are told, and when. Pure.

A receipt is cumulative: everything up to `upto` is durable in the history. It is sent after every
commit that touched the stream (duplicates too: the unit did not get the last one) and repeated,
since it may be lost. A gap is answered by the receipt first; where it stays, by a request for the
missing lines. Times are seconds of a steady clock.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from edge.records import Stream as StreamName
from edge.wire import canonical
from gateway.history.store import StreamKey
from gateway.ingest.intake import Standing
from gateway.ingest.topics import down_topic

REPEAT_S = 30.0
"""A stream that was heard lately gets its receipt again this often."""

HEARD_LATELY_S = 600.0
"""A stream silent for longer gets no more repeats; it will be answered when it speaks again."""

TOLD_A_TURN = 200
"""Repeats sent at once; where more are due, the others follow in the next turn."""

GAP_TRIES = 3
"""Receipts that a gap is answered with before the missing lines are asked for."""

GAP_PATIENCE_S = 5.0
"""A gap must have lasted this long: a unit that goes back by itself needs no request."""

ASK_AGAIN_S = 10.0
"""Shortest time between two requests for the same stream."""

REQUEST_VALID_US = 60_000_000
"""A request that reaches the unit later than this is to be ignored by it."""


@dataclass(frozen=True, slots=True)
class Outgoing:
    """A message to a unit."""

    topic: str
    payload: bytes
    qos: int


@dataclass(frozen=True, slots=True)
class Stream:
    """What was told to one stream. gap_since_s: when the present gap was first seen."""

    upto: int
    heard_s: float
    told_s: float
    gap_tries: int = 0
    gap_since_s: float = 0.0
    asked_s: float | None = None


@dataclass(frozen=True, slots=True)
class Book:
    """All streams heard lately."""

    streams: Mapping[StreamKey, Stream] = field(default_factory=dict)


def receipt(key: StreamKey, upto: int) -> Outgoing:
    """The receipt of a stream; QoS 0, for it is repeated anyway."""
    payload = canonical({"epoch": key.epoch, "stream": key.stream.value, "upto": upto})
    return Outgoing(down_topic(key.unit, "receipt"), payload, 0)


def back_fill(key: StreamKey, gap: tuple[int, int], expires_us: int) -> Outgoing:
    """The request to send lines again, or to say what became of them."""
    payload = canonical(
        {
            "epoch": key.epoch,
            "stream": key.stream.value,
            "from": gap[0],
            "to": gap[1],
            "expires_us": expires_us,
        }
    )
    return Outgoing(down_topic(key.unit, "backfill"), payload, 1)


def after_commit(
    book: Book, standings: tuple[Standing, ...], now_s: float, now_us: int
) -> tuple[Book, tuple[Outgoing, ...]]:
    """What to send once a commit is durable."""
    streams = dict(book.streams)
    outgoing: list[Outgoing] = []
    for standing in standings:
        told, asks = _told(streams.get(standing.key), standing, now_s)
        streams[standing.key] = told
        outgoing.append(receipt(standing.key, standing.upto))
        if asks and standing.gap is not None:
            outgoing.append(back_fill(standing.key, standing.gap, now_us + REQUEST_VALID_US))
    return Book(streams), tuple(outgoing)


def _told(before: Stream | None, standing: Standing, now_s: float) -> tuple[Stream, bool]:
    told = Stream(standing.upto, heard_s=now_s, told_s=now_s)
    if standing.gap is None:
        return told, False
    if before is None or before.upto != standing.upto or before.gap_tries == 0:
        return replace(told, gap_tries=1, gap_since_s=now_s), False
    tries = before.gap_tries + 1
    due = tries > GAP_TRIES and now_s - before.gap_since_s >= GAP_PATIENCE_S
    asks = due and (before.asked_s is None or now_s - before.asked_s >= ASK_AGAIN_S)
    asked_s = now_s if asks else before.asked_s
    return replace(told, gap_tries=tries, gap_since_s=before.gap_since_s, asked_s=asked_s), asks


def greeted(book: Book, marks: Mapping[StreamKey, int], now_s: float) -> Book:
    """With receipts due for these streams, heard lately or not: the gateway is back at the broker.

    A unit that found nobody listening, or lost its last receipt, need not wait for its next try.
    """
    due_s = now_s - REPEAT_S
    new = {key: Stream(upto, heard_s=now_s, told_s=due_s) for key, upto in marks.items()}
    known = {key: replace(stream, told_s=due_s) for key, stream in book.streams.items()}
    return Book({**new, **known})


def welcome(unit: str, epoch: str, marks: Mapping[StreamKey, int]) -> tuple[Outgoing, ...]:
    """Receipts of all five streams for a unit that says that it is online, 0 where nothing is held.

    It hears that somebody listens, and need not wait for its next try.
    """
    keys = [StreamKey(unit, epoch, stream) for stream in StreamName]
    return tuple(receipt(key, marks.get(key, 0)) for key in keys)


def on_time(book: Book, now_s: float) -> tuple[Book, tuple[Outgoing, ...]]:
    """The repeats that are due, at most so many."""
    streams = {
        key: stream
        for key, stream in book.streams.items()
        if now_s - stream.heard_s <= HEARD_LATELY_S
    }
    due = [key for key, stream in streams.items() if now_s - stream.told_s >= REPEAT_S]
    del due[TOLD_A_TURN:]
    outgoing = tuple(receipt(key, streams[key].upto) for key in due)
    streams.update({key: replace(streams[key], told_s=now_s) for key in due})
    return Book(streams), outgoing
