"""Rows, stamps and open files for the tests of what is kept."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from edge.keep.durable_file import DurableFile
from edge.keep.ledger import Stamp
from edge.keep.schema import PRAGMAS
from edge.quantities import STATES, State
from edge.records import (
    Condition,
    ConditionChange,
    HealthRow,
    IntervalRow,
    Loss,
    Record,
    Span,
    Stream,
    WeatherRow,
)
from edge.wire import Batch, read_record

UNIT = "capegull.pole-7"
QUOTA_BYTES = 4 * 1024 * 1024
START_US = 1_700_000_400_000_000  # on a ten-minute tick
MINUTE_US = 60_000_000


def stamp(n: int = 0) -> Stamp:
    """The n-th moment of one boot."""
    return Stamp("boot-1", "gnss", 1_000_000_000 * (n + 1), START_US + MINUTE_US * n)


def minute_row(n: int = 0, **changes: object) -> IntervalRow:
    """A dry minute, the n-th after a tick; any field can be changed."""
    of_dry = tuple(MINUTE_US if state is State.DRY else 0 for state in STATES)
    row = IntervalRow(
        span=Span.MINUTE,
        insulator="P7-A",
        start_counter=600_000 * n,
        start_us=START_US + MINUTE_US * n,
        duration_us=MINUTE_US,
        windows=300,
        state=State.DRY,
        state_us=of_dry,  # type: ignore[arg-type]
        halfcycles=6000,
        arcing_halfcycles=0,
        arcing_positive=0,
        arcing_negative=0,
        doubtful_halfcycles=0,
        spike_halfcycles=3,
        clipped_halfcycles=0,
        peak_ua=910 + n,
        arcing_peak_ua=0,
        pulses=(0, 0, 0, 0, 0),
        arc_pulses=(0, 0, 0, 0, 0),
        charge_nc=(17_000_000 + n, 17_000_001),
        arcing_charge_nc=(0, 0),
        i2t_pa2s=(11_000_000, 11_000_002 + n),
        arcing_i2t_pa2s=(0, 0),
        energy_uj=None,
        arcing_energy_uj=None,
        frequency_millihz=49_998,
        voltage_mv=None,
        rms_na=620_000,
        mean_na=-12,
        h1_na=610_000,
        h2_ppm=900,
        h3_ppm=21_000,
        h3_cdeg=900,
        h5_ppm=15_000,
        thd_ppm=33_000,
        in_phase_na=None,
        quadrature_na=None,
        live_us=MINUTE_US,
        first_arc_us=None,
        last_arc_us=None,
        silent_from_us=None,
        calibration="",
        flags=("no-reference",),
    )
    return replace(row, **changes)  # type: ignore[arg-type]


def health_row(n: int = 0) -> HealthRow:
    """The n-th heartbeat."""
    return HealthRow(
        start_us=START_US + MINUTE_US * n,
        duration_us=MINUTE_US,
        clock_source="gnss",
        clock_synchronised=True,
        clock_error_us=2000,
        storage_free_ppm=900_000,
        backlog=0,
        samples=600_000,
        source_alive=True,
    )


def weather_row(n: int = 0) -> WeatherRow:
    """The n-th minute of the air."""
    return WeatherRow(
        start_us=START_US + MINUTE_US * n,
        duration_us=MINUTE_US,
        rh_cpct=8_000 + n % 100,
        rain_um=n % 5,
        wind_mm_s=n % 9,
        wind_from_cdeg=100 * (n % 300),
    )


def alarm(n: int = 0) -> ConditionChange:
    """The n-th change of a condition."""
    return ConditionChange(
        alarm="arcing",
        subject="P7-A",
        condition=Condition.IN if n % 2 == 0 else Condition.OUT,
        priority=2,
        latched=False,
        at_us=START_US + n,
        at_counter=n,
        since_us=START_US + n,
        deciding={"arcing_halfcycles": n},
        limits={"arcing_halfcycles": 10},
    )


def tokens() -> Callable[[], str]:
    """Chance that can be foretold: 16 hexadecimal digits counting up."""
    count = itertools.count(1)
    return lambda: f"{next(count):016x}"


def open_file(
    path: Path,
    *,
    quota_bytes: int = QUOTA_BYTES,
    pragmas: tuple[str, ...] = PRAGMAS,
    kind: type[DurableFile] = DurableFile,
    token: Callable[[], str] | None = None,
) -> DurableFile:
    return kind(
        path,
        UNIT,
        stamp(),
        quota_bytes=quota_bytes,
        pragmas=pragmas,
        **({} if token is None else {"token": token}),
    )


def read_all(
    file: DurableFile, epoch: str, stream: Stream, after: int = 0
) -> list[tuple[int, Record]]:
    """Everything that would be sent of a lane above `after`: (seq, record)."""
    found: list[tuple[int, Record]] = []
    while (batch := read(file, epoch, stream, after)) is not None:
        found += [(line.seq, read_record(line.body)) for line in batch.lines]
        after = found[-1][0]
    return found


def read(
    file: DurableFile, epoch: str, stream: Stream, after: int = 0, records_max: int = 100
) -> Batch | None:
    return file.read_window(epoch, stream, after, records_max, 64 * 1024, stamp())


def covered(found: list[tuple[int, Record]]) -> list[int]:
    """The numbers that rows hold or tombstones speak of, in order."""
    numbers: list[int] = []
    for seq, record in found:
        first = record.first if isinstance(record, Loss) else seq
        numbers += range(first, seq + 1)
    return numbers
