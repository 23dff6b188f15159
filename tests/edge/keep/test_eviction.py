"""When the quota is full: what goes first, what is told of it, and that alarms outlive all."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from edge.keep import eviction
from edge.keep.durable_file import DurableFile
from edge.keep.eviction import KEPT_SHARE, QUOTA_REASON
from edge.keep.room import HEADROOM_PAGES, QUOTA_BYTES_MIN
from edge.keep.schema import PAGE_BYTES
from edge.records import (
    ConditionChange,
    EpochStart,
    IntervalRow,
    Loss,
    Record,
    Stream,
    UnitEvent,
)
from tests.edge.keep.builders import (
    UNIT,
    alarm,
    covered,
    health_row,
    minute_row,
    open_file,
    read,
    read_all,
    stamp,
)

SMALL = QUOTA_BYTES_MIN


@pytest.fixture
def folder() -> Iterator[Path]:
    there = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=there if there.is_dir() else None) as name:
        yield Path(name)


@pytest.fixture
def file(folder: Path) -> Iterator[DurableFile]:
    small = open_file(folder / "durable.db", quota_bytes=SMALL)
    yield small
    small.close()


def losses(file: DurableFile, stream: Stream) -> list[tuple[int, Loss]]:
    found = read_all(file, file.epoch, stream)
    return [(seq, record) for seq, record in found if isinstance(record, Loss)]


def minutes(file: DurableFile, first: int, count: int) -> None:
    for n in range(first, first + count, 20):
        file.commit([minute_row(n + at) for at in range(20)], {}, stamp(n))


def apart(n: int) -> IntervalRow:
    """A minute that cannot be put together with any other."""
    return minute_row(n, calibration=f"dry-{n}")


def test_the_oldest_routine_rows_go_and_one_tombstone_tells_exactly_which(
    file: DurableFile,
) -> None:
    for n in range(0, 2400, 20):
        file.commit([apart(n + at) for at in range(20)], {}, stamp(n))
    found = read_all(file, file.epoch, Stream.INTERVAL)
    assert covered(found) == list(range(1, 2402))
    (at, loss) = losses(file, Stream.INTERVAL)[0]
    assert len(losses(file, Stream.INTERVAL)) == 1
    assert (loss.first, loss.last, loss.count) == (2, at, at - 1)
    assert loss.reason == QUOTA_REASON
    assert (loss.from_us, loss.to_us) == (stamp(0).t_utc_us, stamp((at - 2) // 20 * 20).t_utc_us)
    kept = [record for _, record in found if isinstance(record, IntervalRow)]
    assert kept == [apart(n) for n in range(at - 1, 2400)]


def test_the_file_never_grows_beyond_its_quota(file: DurableFile, folder: Path) -> None:
    minutes(file, 0, 2000)
    file._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    assert (folder / "durable.db").stat().st_size <= SMALL + HEADROOM_PAGES * PAGE_BYTES
    assert file._db.execute("PRAGMA page_count").fetchone()[0] * PAGE_BYTES <= SMALL + PAGE_BYTES


def test_health_goes_before_interval_rows_and_alarms_stay(file: DurableFile) -> None:
    for n in range(0, 2400, 20):
        rows: list[Record] = [minute_row(n + at) for at in range(10)]
        rows += [health_row(n + at) for at in range(10)]
        file.commit([*rows, alarm(n)], {}, stamp(n))
    assert losses(file, Stream.HEALTH)
    first_loss = losses(file, Stream.HEALTH)[0][1]
    assert first_loss.first == 3, "the epoch's start and its event stay"
    assert losses(file, Stream.ALARM) == []
    assert len(read_all(file, file.epoch, Stream.ALARM)) == 121
    left = [r for _, r in read_all(file, file.epoch, Stream.HEALTH) if r.kind == "health"]
    gone = [one for _, one in losses(file, Stream.INTERVAL) if one.reason == QUOTA_REASON]
    assert left == [] or gone == []


def test_notices_go_before_alarms(file: DurableFile) -> None:
    for n in range(0, 2400, 20):
        why = {"why": "w" * 900}
        noted = [UnitEvent(event="clock", at_us=n + at, detail=why) for at in range(20)]
        file.commit([*noted, *(alarm(n + at) for at in range(10))], {}, stamp(n))
    assert losses(file, Stream.HEALTH)
    assert losses(file, Stream.ALARM) == []
    assert len(read_all(file, file.epoch, Stream.ALARM)) == 1201


def test_a_new_routine_row_never_displaces_an_alarm(file: DurableFile) -> None:
    for n in range(0, 4000, 50):
        file.commit([alarm(n + at) for at in range(50)], {}, stamp(n))
    alarms = read_all(file, file.epoch, Stream.ALARM)
    file.commit([minute_row(n) for n in range(40)], {"steps": {"made": 1}}, stamp(1))
    assert read_all(file, file.epoch, Stream.ALARM) == alarms
    _, loss = losses(file, Stream.INTERVAL)[0]
    assert (loss.first, loss.last, loss.count) == (2, 41, 40)
    assert file.snapshot("steps") == {"made": 1}


def test_where_there_are_only_alarms_the_oldest_goes(file: DurableFile) -> None:
    for n in range(0, 4000, 50):
        file.commit([alarm(n + at) for at in range(50)], {}, stamp(n))
    found = read_all(file, file.epoch, Stream.ALARM)
    assert covered(found) == list(range(1, 4002))
    assert found[-1][1] == alarm(3999)
    assert losses(file, Stream.ALARM)


def test_rows_that_may_have_been_sent_go_after_those_that_cannot(file: DurableFile) -> None:
    minutes(file, 0, 100)
    sent = read(file, file.epoch, Stream.INTERVAL, 0, records_max=30)
    assert sent is not None
    minutes(file, 100, 2300)
    again = read(file, file.epoch, Stream.INTERVAL, 0, records_max=30)
    assert again == sent
    assert losses(file, Stream.INTERVAL)[0][1].first > 30


def test_a_tombstone_that_was_sent_stays_as_it_is(file: DurableFile) -> None:
    minutes(file, 0, 2400)
    sent = losses(file, Stream.INTERVAL)[0]
    minutes(file, 2400, 400)
    assert losses(file, Stream.INTERVAL)[0] == sent
    assert covered(read_all(file, file.epoch, Stream.INTERVAL)) == list(range(1, 2802))


def test_released_rows_go_before_anything_is_given_up(file: DurableFile) -> None:
    minutes(file, 0, 400)
    read_all(file, file.epoch, Stream.INTERVAL)
    file.release(file.epoch, Stream.INTERVAL, 401)
    minutes(file, 400, 500)
    assert [r for _, r in read_all(file, file.epoch, Stream.INTERVAL, 401)] == [
        minute_row(n) for n in range(400, 900)
    ]


def test_released_rows_are_kept_within_their_share(file: DurableFile) -> None:
    for n in range(0, 3000, 100):
        minutes(file, n, 100)
        read_all(file, file.epoch, Stream.INTERVAL, n)
        file.release(file.epoch, Stream.INTERVAL, n + 101)
        assert eviction.kept_bytes(file._db) <= SMALL // KEPT_SHARE + 150_000
    minutes(file, 3000, 20)
    assert eviction.kept_bytes(file._db) <= SMALL // KEPT_SHARE
    assert eviction.kept_bytes(file._db) > SMALL // KEPT_SHARE // 2
    assert losses(file, Stream.INTERVAL)[0][1].reason == "no-longer-held"


def test_trimming_by_age_forgets_released_rows_only(file: DurableFile) -> None:
    minutes(file, 0, 100)
    read_all(file, file.epoch, Stream.INTERVAL)
    file.release(file.epoch, Stream.INTERVAL, 50)
    while file.trim_released(stamp(10_000).t_utc_us):
        pass
    assert read_all(file, file.epoch, Stream.INTERVAL, 50)[0] == (51, minute_row(49))
    assert file.backlog() >= 51


def test_a_quota_too_small_for_the_job_is_refused(folder: Path) -> None:
    with pytest.raises(ValueError, match="at least"):
        DurableFile(folder / "durable.db", UNIT, stamp(), quota_bytes=1000)


Batch = tuple[int, int, int]


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.lists(
        st.tuples(st.integers(0, 6), st.integers(0, 120), st.integers(0, 60)),
        min_size=5,
        max_size=40,
    ),
    st.integers(0, 300),
)
def test_whatever_fills_the_file_alarms_outlive_routine_and_no_number_is_unaccounted_for(
    batches: list[Batch], sent: int
) -> None:
    there = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=there if there.is_dir() else None) as name:
        file = open_file(Path(name) / "durable.db", quota_bytes=SMALL)
        made = {Stream.ALARM: 1, Stream.INTERVAL: 1, Stream.HEALTH: 2}
        for number, (alarms, rows, beats) in enumerate(batches):
            records: list[Record] = [alarm(made[Stream.ALARM] - 1 + n) for n in range(alarms)]
            records += [minute_row(made[Stream.INTERVAL] - 1 + n) for n in range(rows)]
            records += [health_row(n) for n in range(beats)]
            last = file.commit(records, {"n": number}, stamp(number))
            made |= last
            if number == 2:
                read(file, file.epoch, Stream.INTERVAL, 0, records_max=max(1, sent))
        for stream, top in made.items():
            assert covered(read_all(file, file.epoch, stream)) == list(range(1, top + 1))
        routine = [r for _, r in read_all(file, file.epoch, Stream.INTERVAL)]
        alarms_found = [r for _, r in read_all(file, file.epoch, Stream.ALARM)]
        if any(isinstance(record, IntervalRow) for record in routine):
            assert not any(isinstance(record, Loss) for record in alarms_found)
        for record in alarms_found:
            assert isinstance(record, ConditionChange | EpochStart | Loss)
        file.close()
