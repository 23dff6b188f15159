"""Commits on a disk that fails once: the file is opened anew, and nothing is lost or doubled."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from edge.clock import Clock
from edge.daemon.running import FILE_NAME
from edge.daemon.storing import COMPANY_NS, GROUP_NS, Store
from edge.keep import DurableFile
from edge.keep.eviction import RETENTION_US
from edge.keep.states import PACKED_FROM_BYTES
from edge.records import Loss, Stream, UnitEvent
from edge.wire import body_line
from tests.edge.daemon.builders import (
    RECORDED,
    daemon_in,
    played_out,
    settings_text,
    write_recording,
)
from tests.edge.daemon.storing import open_file
from tests.edge.keep.builders import (
    alarm,
    health_row,
    minute_row,
    read_all,
    stamp,
    weather_row,
)
from tests.edge.keep.disk import Entry, read_log, run_watched

COMMITS = 4
SCRIPT = "tests.edge.daemon.storing"


@pytest.fixture(scope="module")
def calls(shim: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Entry]:
    """Every write and sync of an undisturbed run, as the watching library counts them."""
    folder = tmp_path_factory.mktemp("calls")
    (folder / "data").mkdir()
    log = {"DISK_LOG": str(folder / "log")}
    run_watched(shim, folder / "data", [SCRIPT, str(folder / "data"), str(COMMITS)], **log)
    return [entry for entry in read_log(folder / "log") if entry.kind in "ws"]


def number_of(calls: list[Entry], kind: str, ending: str, commit: int) -> int:
    """The count of a commit's first call of this kind, from 1; commit 0 is the first."""
    ballast = max(n for n, entry in enumerate(calls) if entry.name.endswith(".partial"))
    found = [
        n
        for n, entry in enumerate(calls, 1)
        if n > ballast + 1 and entry.kind == kind and entry.name.endswith(ending)
    ]
    return found[commit]


@pytest.mark.parametrize("commit", [0, COMMITS - 2])
@pytest.mark.parametrize(("kind", "ending"), [("s", "-wal"), ("w", ".witness")])
def test_a_commit_that_fails_once_is_repeated_only_where_it_was_not_written(
    shim: Path, calls: list[Entry], tmp_path: Path, kind: str, ending: str, commit: int
) -> None:
    at = number_of(calls, kind, ending, commit)
    fault = {"DISK_FAIL_AT": str(at), "DISK_FAIL_WITH": str(errno.EIO)}
    run = run_watched(shim, tmp_path, [SCRIPT, str(tmp_path), str(COMMITS)], **fault)
    assert run.returncode == 0, run.stderr
    assert run.stderr.count("open the file anew") == 1
    file = open_file(tmp_path)
    kept = [
        one
        for lane in file.lanes()
        if lane.stream is Stream.INTERVAL
        for _, one in read_all(file, lane.epoch, Stream.INTERVAL)[1:]
    ]
    assert file.snapshot("number") == COMMITS - 1
    file.close()
    assert [body_line(one) for one in kept] == [
        body_line(minute_row(n)) for n in range(2 * COMMITS)
    ]


def alarms_of(file: DurableFile) -> list[int]:
    """Numbers of the rows that are held of the first epoch's alarms."""
    return [seq for seq, _ in read_all(file, file.lanes()[0].epoch, Stream.ALARM)]


def test_the_daemon_forgets_released_rows_of_long_ago_at_a_trusted_time(tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    path, quota_bytes = tmp_path / "data" / FILE_NAME, 16_000_000
    file = DurableFile(path, "gannet-stack.pole-1", stamp(), quota_bytes=quota_bytes)
    file.commit([alarm(n) for n in range(200)], {}, stamp())
    read_all(file, file.epoch, Stream.ALARM)
    file.release(file.epoch, Stream.ALARM, 180)
    file.close()
    write_recording(tmp_path, 2.0)
    clock = Clock(5000.0, Clock().utc_us(), stamp().t_utc_us + RETENTION_US + 1_000_000)
    assert clock.discipline().synchronised
    played_out(daemon_in(tmp_path, settings_text(RECORDED), clock=clock))
    file = DurableFile(path, "gannet-stack.pole-1", stamp(), quota_bytes=quota_bytes)
    assert alarms_of(file)[:3] == [180, 181, 182]
    assert isinstance(read_all(file, file.epoch, Stream.ALARM)[0][1], Loss)
    file.close()


def test_alarms_are_due_at_once_rows_wait_for_their_minute_and_weather_for_company(
    tmp_path: Path,
) -> None:
    now = [0]
    store = Store(lambda: open_file(tmp_path), stamp, lambda: now[0])
    store.add([weather_row()])
    assert store.wait_s() == COMPANY_NS / 1e9
    now[0] = 5_000_000_000
    store.add([health_row()])
    assert store.wait_s() == GROUP_NS / 1e9
    now[0] += 1_000_000_000
    store.add([minute_row(n) for n in range(4)])
    assert store.wait_s() == (GROUP_NS - 1_000_000_000) / 1e9
    store.add([alarm()])
    assert store.wait_s() == 0
    store.commit({})
    assert store.wait_s() is None
    store.add([UnitEvent(event="refused", at_us=1, detail={"security": 1})])
    assert store.wait_s() == 0
    store.close()
    file = open_file(tmp_path)
    assert [lane.last for lane in file.lanes()] == [2, 5, 1, 3, 2], "with how the epoch began"
    file.close()


def test_a_state_is_packed_and_read_back_whatever_its_length(tmp_path: Path) -> None:
    file = open_file(tmp_path)
    for length in (0, 100, PACKED_FROM_BYTES, 50_000):
        plain = {"minutes": ["x" * length]}
        file.commit([], {"merging": plain}, stamp())
        assert file.snapshot("merging") == plain
    held = file._db.execute("SELECT length(body) FROM state WHERE name='merging'").fetchone()
    assert held[0] < 1_000
    file.close()


def test_a_full_disk_lets_the_sender_wait_and_ends_nothing(shim: Path, tmp_path: Path) -> None:
    (data := tmp_path / "data").mkdir()
    full = {"DISK_BALLAST": str(tmp_path / "is-full")}
    run = run_watched(shim, data, ["tests.edge.daemon.serving", str(data)], **full)
    assert (run.returncode, run.stdout) == (0, "served 1 on 3\n"), run.stderr
    assert run.stderr.count("the sender waits") >= 1
