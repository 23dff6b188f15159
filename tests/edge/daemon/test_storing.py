"""Commits on a disk that fails once: the file is opened anew, and nothing is lost or doubled."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from edge.clock import Clock
from edge.daemon.running import FILE_NAME
from edge.keep import DurableFile
from edge.keep.eviction import RETENTION_US
from edge.records import Loss, Stream
from edge.wire import body_line
from tests.edge.daemon.builders import (
    RECORDED,
    daemon_in,
    played_out,
    settings_text,
    write_recording,
)
from tests.edge.daemon.storing import open_file
from tests.edge.keep.builders import alarm, minute_row, read_all, stamp
from tests.edge.keep.disk import Entry, build_shim, read_log, run_watched

COMMITS = 4
SCRIPT = "tests.edge.daemon.storing"


@pytest.fixture(scope="module")
def shim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build_shim(tmp_path_factory.mktemp("shim"))


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
