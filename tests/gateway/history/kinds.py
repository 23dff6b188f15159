"""One record of every kind, and a capture with its parts."""

from __future__ import annotations

import base64
import hashlib

from edge.records import (
    Capture,
    CapturePart,
    ClockCorrection,
    Condition,
    EpochStart,
    Record,
    Span,
    Stream,
    UnitEvent,
)
from tests.gateway.build import MINUTE_US, START_US, condition, health, interval, loss, weather


def every_kind() -> list[tuple[Stream, Record]]:
    correction = ClockCorrection(
        boot="boot-1", from_counter=1, to_counter=9, shift_us=-5, error_us=3, source="gnss"
    )
    return [
        (Stream.INTERVAL, interval(1)),
        (Stream.INTERVAL, interval(1, span=Span.TEN_SECONDS, duration_us=10_000_000)),
        (Stream.INTERVAL, loss(3, 3)),
        (Stream.WEATHER, weather(1, rain_um=200, flags=("late",))),
        (Stream.HEALTH, health(1, reasons=("clock", "storage"), supply_mv=12_000)),
        (Stream.HEALTH, correction),
        (Stream.HEALTH, UnitEvent(event="restart", at_us=START_US, detail={"by": "ü\n", "n": -1})),
        (Stream.ALARM, EpochStart(previous_epoch="", previous_last=0, reason="created")),
        (Stream.ALARM, condition(1, Condition.UNKNOWN, reason="gap")),
        (Stream.CAPTURE, capture_of(b"waveform")[0]),
        (Stream.CAPTURE, CapturePart(content_sha="0" * 64, part=0, content_b64="not base64 é")),
    ]


def capture_of(content: bytes) -> tuple[Capture, list[CapturePart]]:
    sha = hashlib.sha256(content).hexdigest()
    pieces = [content[at : at + 5] for at in range(0, len(content), 5)]
    parts = [
        CapturePart(content_sha=sha, part=n, content_b64=base64.b64encode(piece).decode())
        for n, piece in enumerate(pieces)
    ]
    manifest = Capture(
        insulator="A1",
        trigger="arcing",
        trigger_us=START_US,
        start_us=START_US,
        duration_us=MINUTE_US,
        content_sha=sha,
        size_bytes=len(content),
        parts=len(parts),
    )
    return manifest, parts
