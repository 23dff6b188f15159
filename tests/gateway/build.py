"""Builders of records and messages, each argument with a harmless default."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

from edge.quantities import State
from edge.records import (
    Condition,
    ConditionChange,
    EpochStart,
    HealthRow,
    IntervalRow,
    Loss,
    Record,
    Span,
    Stream,
    WeatherRow,
)
from edge.wire import Batch, Line, batch_message, body_line
from gateway.history.store import Commit, Entry, MarkMove, StreamKey
from gateway.ingest.admission import digest16

UNIT = "north-head.m1"
EPOCH = "1-0123456789abcdef"
NEXT_EPOCH = "2-00000000000000ff"
START_US = 1_795_478_400_000_000  # 2026-11-24 00:00 UTC
MINUTE_US = 60_000_000


def interval(minute: int = 0, insulator: str = "A1", **changes: object) -> IntervalRow:
    row = IntervalRow(
        span=Span.MINUTE,
        insulator=insulator,
        start_counter=600_000 * minute,
        start_us=START_US + MINUTE_US * minute,
        duration_us=MINUTE_US,
        windows=300,
        state=State.WET,
        state_us=(0, MINUTE_US, 0, 0, 0, 0),
        halfcycles=6000,
        arcing_halfcycles=minute % 50,
        arcing_positive=minute % 25,
        arcing_negative=3,
        doubtful_halfcycles=0,
        spike_halfcycles=4,
        clipped_halfcycles=0,
        peak_ua=12_345 + minute,
        arcing_peak_ua=0,
        pulses=(5, 4, 1, 0, 0),
        arc_pulses=(4, 3, 1, 0, 0),
        charge_nc=(1_000_000 + minute, 2_000_000),
        arcing_charge_nc=(123_456, 98_798),
        i2t_pa2s=(10**11, 10**10),
        arcing_i2t_pa2s=(123_123, 12_312),
        energy_uj=(1_234_567, -3_121),
        arcing_energy_uj=None,
        frequency_millihz=50_012,
        voltage_mv=11_547_000,
        rms_na=3_000_000,
        mean_na=-233,
        h1_na=2_900_000,
        h2_ppm=1_000,
        h3_ppm=123_456,
        h3_cdeg=-17_012,
        h5_ppm=23_212,
        thd_ppm=None,
        in_phase_na=2_500_000,
        quadrature_na=1_000_000,
        live_us=MINUTE_US,
        first_arc_us=None,
        last_arc_us=None,
        silent_from_us=None,
        calibration="dry-2026-06",
        flags=("clock-unsynchronised", "gap"),
    )
    return dataclasses.replace(row, **changes)


def weather(minute: int = 0, **changes: object) -> WeatherRow:
    row = WeatherRow(
        start_us=START_US + MINUTE_US * minute, duration_us=MINUTE_US, rh_cpct=9_150, air_cdegc=-310
    )
    return dataclasses.replace(row, **changes)


def health(minute: int = 0, **changes: object) -> HealthRow:
    row = HealthRow(
        start_us=START_US + MINUTE_US * minute,
        duration_us=MINUTE_US,
        clock_source="ntp",
        clock_synchronised=True,
        clock_error_us=1500,
        storage_free_ppm=900_000,
        backlog=0,
        samples=600_000,
        source_alive=True,
        link_counters={"frames-refused": 2, "lost-samples": 0},
    )
    return dataclasses.replace(row, **changes)


def condition(
    minute: int = 0,
    condition: Condition = Condition.IN,
    alarm: str = "arcing",
    subject: str = "A1",
    **changes: object,
) -> ConditionChange:
    change = ConditionChange(
        alarm=alarm,
        subject=subject,
        condition=condition,
        priority=2,
        latched=False,
        at_us=START_US + MINUTE_US * minute,
        at_counter=600_000 * minute,
        since_us=START_US + MINUTE_US * minute,
        deciding={"arcing_halfcycles": 210},
        limits={"arcing_halfcycles": 30},
    )
    return dataclasses.replace(change, **changes)


def loss(first: int, last: int) -> Loss:
    return Loss(
        first=first,
        last=last,
        count=last - first + 1,
        from_us=START_US,
        to_us=START_US + MINUTE_US,
        reason="quota",
    )


def epoch_start(previous: str = "") -> EpochStart:
    return EpochStart(previous_epoch=previous, previous_last=0, reason="created")


def key(stream: Stream = Stream.INTERVAL, unit: str = UNIT, epoch: str = EPOCH) -> StreamKey:
    return StreamKey(unit, epoch, stream)


def line(seq: int, record: Record) -> Line:
    return Line(seq, 10**9 * seq, START_US + seq, body_line(record))


def batch(
    first: int,
    records: Sequence[Record],
    stream: Stream = Stream.INTERVAL,
    unit: str = UNIT,
    epoch: str = EPOCH,
) -> Batch:
    lines = tuple(line(first + place, record) for place, record in enumerate(records))
    return Batch(unit, epoch, stream, "boot-1", "ntp", lines)


def topic(stream: Stream = Stream.INTERVAL, unit: str = UNIT) -> str:
    return f"seafret/1/{unit}/up/{stream.value}"


def message(
    first: int,
    records: Sequence[Record],
    stream: Stream = Stream.INTERVAL,
    unit: str = UNIT,
    epoch: str = EPOCH,
) -> bytes:
    return batch_message(batch(first, records, stream, unit, epoch))


def entry(seq: int, record: Record, of: StreamKey | None = None) -> Entry:
    body = body_line(record)
    return Entry(
        of or key(), seq, digest16(body), body, record, "boot-1", "ntp", seq * 10, START_US + seq
    )


def commit(first: int, records: Sequence[Record], of: StreamKey | None = None) -> Commit:
    """A commit of records numbered from `first`, after all before them."""
    stream = of or key()
    entries = tuple(entry(first + place, record, stream) for place, record in enumerate(records))
    before = first - 1 if first > 1 else None
    return Commit(START_US, entries, {stream: MarkMove(before, first - 1 + len(entries))})
