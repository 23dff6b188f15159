"""Resolution goes before time: minutes, ten minutes, hours, and every sum stays what it was."""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from edge.keep import eviction, thinning
from edge.keep.durable_file import DurableFile
from edge.keep.eviction import QUOTA_REASON
from edge.keep.ledger import Stamp
from edge.keep.room import BALLAST_BYTES, QUOTA_BYTES_MIN
from edge.keep.schema import PAGE_BYTES
from edge.keep.thinning import HOUR_US, KINDS, TEN_MINUTES_US, THINNED
from edge.records import HealthRow, IntervalRow, Loss, Record, Span, Stream, WeatherRow
from tests.edge.keep.builders import (
    MINUTE_US,
    START_US,
    alarm,
    covered,
    health_row,
    minute_row,
    open_file,
    read,
    read_all,
    stamp,
    weather_row,
)
from tests.edge.keep.test_merging import totals

HOUR_START_US = START_US // HOUR_US * HOUR_US


@pytest.fixture
def file() -> Iterator[DurableFile]:
    there = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=there if there.is_dir() else None) as name:
        small = open_file(Path(name) / "durable.db", quota_bytes=QUOTA_BYTES_MIN)
        yield small
        small.close()


def wet_row(n: int, **changes: object) -> IntervalRow:
    """The n-th minute of an hour of a wet surface with arcs: nothing that is merged as dry."""
    own: dict[str, object] = {
        "start_us": HOUR_START_US + MINUTE_US * n,
        "arcing_halfcycles": n % 7,
        "arcing_positive": n % 7,
        "arcing_charge_nc": (31 * n, 0),
        "arcing_i2t_pa2s": (7 * n, 1),
        "doubtful_halfcycles": n % 3,
        "arcing_peak_ua": 5_000 + n if n % 7 else 0,
        "first_arc_us": 1_000_000 if n % 7 else None,
        "last_arc_us": 59_000_000 if n % 7 else None,
    }
    return minute_row(n, **(own | changes))


def fill(file: DurableFile, first: int, count: int) -> list[IntervalRow]:
    """So many minutes of two insulators, with health and weather beside them, an alarm an hour."""
    made: list[IntervalRow] = []
    for n in range(first, first + count, 20):
        rows = [wet_row(n + at, insulator=one) for at in range(20) for one in ("P7-A", "P7-B")]
        beside: list[Record] = [health_row(n + at) for at in range(20)]
        beside += [weather_row(n + at) for at in range(20)]
        alarms = [alarm(n)] if n % 60 == 0 else []
        file.commit([*rows, *beside, *alarms], {}, stamp(n))
        made += rows
    return made


def records(file: DurableFile, stream: Stream) -> list[Record]:
    return [record for _, record in read_all(file, file.epoch, stream)]


def intervals(file: DurableFile) -> list[IntervalRow]:
    return [one for one in records(file, Stream.INTERVAL) if isinstance(one, IntervalRow)]


def reasons(file: DurableFile, stream: Stream) -> set[str]:
    return {one.reason for one in records(file, stream) if isinstance(one, Loss)}


def test_a_full_quota_costs_resolution_and_neither_time_nor_a_sum(file: DurableFile) -> None:
    made = fill(file, 0, 1200)
    kept = intervals(file)
    assert totals(kept) == totals(made)
    assert reasons(file, Stream.INTERVAL) == {THINNED}
    lengths = [row.duration_us // MINUTE_US for row in kept if row.insulator == "P7-A"]
    assert lengths[0] == 10 and lengths[-1] == 1 and lengths == sorted(lengths, reverse=True)
    assert max(row.peak_ua for row in kept) == max(row.peak_ua for row in made)


def test_then_ten_minutes_become_hours_and_every_sum_stays(file: DurableFile) -> None:
    made = fill(file, 0, 5000)
    kept = intervals(file)
    assert totals(kept) == totals(made)
    assert QUOTA_REASON not in reasons(file, Stream.INTERVAL)
    lengths = [row.duration_us // MINUTE_US for row in kept if row.insulator == "P7-A"]
    assert lengths[0] == 60 and lengths[-1] == 1
    assert lengths == sorted(lengths, reverse=True)
    weather = [one for one in records(file, Stream.WEATHER) if isinstance(one, WeatherRow)]
    assert sum(one.rain_um or 0 for one in weather) == sum(
        weather_row(n).rain_um or 0 for n in range(5000)
    )
    health = [one for one in records(file, Stream.HEALTH) if isinstance(one, HealthRow)]
    assert sum(one.samples for one in health) == 5000 * 600_000
    assert reasons(file, Stream.ALARM) == set()
    for stream in (Stream.INTERVAL, Stream.WEATHER, Stream.HEALTH):
        numbers = covered(read_all(file, file.epoch, stream))
        assert numbers == list(range(1, len(numbers) + 1))


def test_when_only_hours_are_left_the_oldest_go_and_their_tombstone_speaks_of_all_their_minutes(
    file: DurableFile,
) -> None:
    made = 0
    while not file._db.execute(  # not by reading, which would promise
        "SELECT 1 FROM outbox WHERE rank=9 AND instr(body, ?)", (QUOTA_REASON.encode(),)
    ).fetchone():
        rows = [wet_row(made + at, calibration=f"dry-{(made + at) // 30}") for at in range(300)]
        file.commit(rows, {}, stamp(made))
        made += 300
    found = read_all(file, file.epoch, Stream.INTERVAL)
    assert covered(found) == list(range(1, made + 2))
    _, gone = next(each for each in found if isinstance(each[1], Loss))
    assert isinstance(gone, Loss) and gone.reason == QUOTA_REASON
    assert gone.first == 2 and gone.count == gone.last - 1
    kept = [one for _, one in found if isinstance(one, IntervalRow)]
    lost = gone.count
    assert totals(kept) == totals([wet_row(n) for n in range(lost, made)])


def test_a_row_that_may_have_been_sent_stays_as_it_is(file: DurableFile) -> None:
    made = fill(file, 0, 200)
    sent = read(file, file.epoch, Stream.INTERVAL, 0, records_max=100)
    (lane,) = [one for one in file.lanes() if one.stream is Stream.INTERVAL]
    assert sent is not None and 100 < lane.promised < 401
    everything(file)
    found = dict(read_all(file, file.epoch, Stream.INTERVAL))
    assert [found[seq] for seq in range(2, lane.promised + 1)] == made[: lane.promised - 1]
    assert len([seq for seq in found if seq > lane.promised]) < 40
    assert totals(intervals(file)) == totals(made)


def everything(file: DurableFile) -> None:
    """All that can be put together is."""
    with transaction(file) as db:
        for while_us in (TEN_MINUTES_US, HOUR_US):
            for kind in KINDS:
                while thinning.thin(db, kind, while_us):
                    pass


class transaction:
    """One transaction on the connection of a file."""

    def __init__(self, file: DurableFile) -> None:
        self._db: sqlite3.Connection = file._db

    def __enter__(self) -> sqlite3.Connection:
        self._db.execute("BEGIN IMMEDIATE")
        return self._db

    def __exit__(self, *_: object) -> None:
        self._db.execute("COMMIT")


def thinned(file: DurableFile, rows: Sequence[Record]) -> list[IntervalRow]:
    """What becomes of rows, and of an hour after them that lets the last while end."""
    after = minute_row(0, insulator="P7-Z", start_us=HOUR_START_US + 9 * HOUR_US)
    file.commit([*rows, after], {}, stamp())
    everything(file)
    return [row for row in intervals(file) if row.insulator != "P7-Z"]


@pytest.mark.parametrize(
    "changes",
    [
        {"insulator": "P7-B"},
        {"calibration": "dry-2"},
        {"energy_uj": (5, 6)},
        {"flags": ("clock-unsynchronised", "no-reference")},
        {"flags": ("clock-step", "no-reference")},
        {"start_us": HOUR_START_US + HOUR_US},
    ],
    ids=lambda changes: next(iter(changes)),
)
def test_rows_that_differ_in_what_cannot_be_summed_stay_apart(
    file: DurableFile, changes: dict[str, object]
) -> None:
    one, other = wet_row(0), wet_row(1, **changes)
    assert thinned(file, [one, other]) == [one, other]


def test_rows_of_two_starts_of_the_machine_stay_apart(file: DurableFile) -> None:
    file.commit([wet_row(0)], {}, stamp())
    file.commit([wet_row(1)], {}, Stamp("boot-2", "gnss", 5, START_US))
    assert thinned(file, []) == [wet_row(0), wet_row(1)]


def test_ten_second_rows_go_and_the_minute_keeps_their_sum(file: DurableFile) -> None:
    short = [
        wet_row(0, span=Span.TEN_SECONDS, duration_us=10_000_000, start_us=HOUR_START_US + at)
        for at in range(0, MINUTE_US, 10_000_000)
    ]
    assert thinned(file, [*short, wet_row(0)]) == [wet_row(0)]
    found = read_all(file, file.epoch, Stream.INTERVAL)
    assert covered(found) == list(range(1, 10))


def test_a_while_that_may_still_go_on_waits(file: DurableFile) -> None:
    file.commit([wet_row(n) for n in range(9)], {}, stamp())
    everything(file)
    (held,) = file._db.execute("SELECT COUNT(*) FROM outbox WHERE rank=3").fetchone()
    assert held == 9
    file.commit([wet_row(9), wet_row(10)], {}, stamp())
    everything(file)
    assert [row.duration_us // MINUTE_US for row in intervals(file)] == [10, 1]


def test_a_hole_between_rows_is_flagged_and_offsets_count_it(file: DurableFile) -> None:
    (row,) = thinned(file, [wet_row(1), wet_row(5)])
    assert row.duration_us == 2 * MINUTE_US and "gap" in row.flags
    assert row.last_arc_us == 4 * MINUTE_US + 59_000_000


def test_what_cannot_be_put_together_is_looked_at_once(file: DurableFile) -> None:
    file.commit([wet_row(n, calibration=f"dry-{n}") for n in range(600)], {}, stamp())
    interval = next(kind for kind in KINDS if kind.stream is Stream.INTERVAL)
    with transaction(file) as db:
        assert not thinning.thin(db, interval, TEN_MINUTES_US)
        asked: list[str] = []
        db.set_trace_callback(asked.append)
        assert not thinning.thin(db, interval, TEN_MINUTES_US)
        db.set_trace_callback(None)
    assert len([one for one in asked if "FROM outbox" in one]) == 1


def test_on_a_full_disk_a_step_of_thinning_fits_into_a_part_of_the_ballast(
    file: DurableFile,
) -> None:
    fill(file, 0, 400)
    thin = eviction.MEASURES_ON_A_FULL_DISK[1]
    for _ in range(12):
        file._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        with transaction(file) as db:
            assert thin(db, stamp(), eviction.Rank.INTERVAL)
        frames = file._db.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()[1]
        assert frames * PAGE_BYTES < BALLAST_BYTES // 2
