"""Cut at every write, and with the power: what was committed is there, with the state that made it.

Each promise has a careless twin that the same cuts find out.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from edge.keep import StorageFault
from edge.records import Stream, UnitEvent
from tests.edge.keep.builders import read_all
from tests.edge.keep.committer import open_kind, records_of
from tests.edge.keep.disk import Disk, Entry, lay_out, read_log, run_watched

COMMITS = 30
KILLS = 40
POWER_CUTS = 80


@dataclass(frozen=True)
class Found:
    """What a file held after a cut. told: commits that had returned; state: that of the steps."""

    told: int
    held: int
    state: int
    new_epoch: str


@pytest.fixture(scope="module")
def careful(shim: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Entry]:
    """What the careful file did on the disk."""
    return log_of(shim, tmp_path_factory.mktemp("careful"), "careful")


def log_of(shim: Path, folder: Path, kind: str) -> list[Entry]:
    data = folder / "data"
    data.mkdir()
    log = folder / "log"
    script = ["tests.edge.keep.committer", str(data), kind, str(COMMITS)]
    done = run_watched(shim, data, script, DISK_LOG=str(log))
    assert done.stdout == f"done {COMMITS}\n", done.stdout + done.stderr
    return read_log(log)


def cut_points(log: list[Entry], cuts: int) -> list[int]:
    """Evenly over the log after the file was created and opened, where commits happen."""
    start = next(at for at, entry in enumerate(log) if entry.name == "told")
    return [start + 1 + (len(log) - start - 1) * cut // cuts for cut in range(cuts)]


def found_after(folder: Path, files: dict[str, bytes], kind: str, log: list[Entry]) -> Found:
    told = int(next(e for e in reversed(log) if e.name == "told").content)
    lay_out(folder, files)
    file = open_kind(folder / "durable.db", kind)
    epoch = file.lanes()[0].epoch
    after = 0
    records = [record for _, record in read_all(file, epoch, Stream.ALARM, after)][1:]
    steps = file.snapshot("steps")
    held = 0
    for commit, record in enumerate(records):
        if record != records_of(commit)[0]:
            break
        held += 1
    rows = [row for _, row in read_all(file, epoch, Stream.INTERVAL)][1:]
    whole = [row for commit in range(held) for row in records_of(commit)[1:]]
    assert rows[: len(whole)] == whole
    state = steps["commits"] if isinstance(steps, dict) else 0
    result = Found(told, held, state, file.new_epoch)
    file.close()
    return result


def kills(log: list[Entry], memory: Path, kind: str) -> Iterator[Found]:
    disk, done = Disk(), 0
    for at in cut_points(log, KILLS):
        for entry in log[done:at]:
            disk.do(entry)
        done = at
        yield found_after(memory / f"kill-{at}", disk.after_kill(), kind, log[:at])


def power_cuts(log: list[Entry], memory: Path, kind: str) -> Iterator[Found]:
    chance = random.Random(20_261_124)
    disk, done = Disk(), 0
    for number, at in enumerate(cut_points(log, POWER_CUTS)):
        for entry in log[done:at]:
            disk.do(entry)
        done = at
        files = disk.after_power_cut(chance)
        yield found_after(memory / f"cut-{number}", files, kind, log[:at])


def is_kept(found: Found) -> bool:
    """Everything told is held, at most the commit under way besides; the state fits the records."""
    return found.told <= found.held <= found.told + 1 and found.state == found.held


def test_a_kill_at_any_write_loses_nothing_that_was_told(
    careful: list[Entry], memory: Path
) -> None:
    found = list(kills(careful, memory, "careful"))
    assert [each for each in found if not is_kept(each)] == []
    assert {each.new_epoch for each in found} == {""}
    assert len({each.told for each in found}) > KILLS // 3


def test_a_power_cut_loses_nothing_that_was_told(careful: list[Entry], memory: Path) -> None:
    found = list(power_cuts(careful, memory, "careful"))
    assert [each for each in found if not is_kept(each)] == []
    assert {each.new_epoch for each in found} == {""}


def test_the_twin_that_does_not_wait_for_the_disk_loses_told_commits(
    shim: Path, tmp_path: Path, memory: Path
) -> None:
    found = power_cuts(log_of(shim, tmp_path, "normal"), memory, "normal")
    assert any(each.held < each.told for each in found)


def test_the_twin_that_saves_state_apart_is_found_with_a_state_that_does_not_fit(
    shim: Path, tmp_path: Path, memory: Path
) -> None:
    found = kills(log_of(shim, tmp_path, "state-apart"), memory, "state-apart")
    assert any(each.state != each.held for each in found)


def fails_once(shim: Path, data: Path, at: int, errno: int) -> str:
    """What the committer met where its `at`-th write or sync fails; what it told must be held."""
    data.mkdir()
    script = ["tests.edge.keep.committer", str(data), "careful", str(COMMITS)]
    done = run_watched(shim, data, script, DISK_FAIL_AT=str(at), DISK_FAIL_WITH=str(errno))
    assert done.returncode == 0, done.stderr
    told = int((data / "told").read_bytes())
    file = open_kind(data / "durable.db", "careful")
    held = [record for _, record in read_all(file, file.lanes()[0].epoch, Stream.ALARM)][1:]
    assert held[:told] == [records_of(commit)[0] for commit in range(told)]
    assert (file.new_epoch, len(held) - told in (0, 1)) == ("", True)
    file.close()
    return done.stdout.split()[0]


def calls_of(log: list[Entry], kind: str) -> list[int]:
    """Which of the counted calls are writes, or syncs, of the WAL while commits are made."""
    told = [at for at, entry in enumerate(log) if entry.name == "told"]
    counted = [(at, entry) for at, entry in enumerate(log) if entry.kind in "ws"]
    return [
        number
        for number, (at, entry) in enumerate(counted, 1)
        if told[0] < at < told[-1] and entry.kind == kind and entry.name.endswith("-wal")
    ]


@pytest.mark.parametrize("errno", [5, 28], ids=["EIO", "ENOSPC"])
def test_a_write_that_fails_once_is_tried_again_and_costs_nothing(
    shim: Path, careful: list[Entry], tmp_path: Path, errno: int
) -> None:
    calls = calls_of(careful, "w")
    for at in calls[len(calls) // 4 :: len(calls) // 2]:
        assert fails_once(shim, tmp_path / str(at), at, errno) == "done"


def test_a_sync_that_fails_ends_the_use_of_the_file_and_loses_nothing_told(
    shim: Path, careful: list[Entry], tmp_path: Path
) -> None:
    calls = calls_of(careful, "s")
    for at in calls[len(calls) // 4 :: len(calls) // 2]:
        assert fails_once(shim, tmp_path / str(at), at, 5) == "StorageFault"


def test_a_full_disk_gives_the_ballast_and_commits(shim: Path, tmp_path: Path) -> None:
    data = tmp_path / "data"
    data.mkdir()
    with_room = ["tests.edge.keep.committer", str(data), "careful", "3"]
    run_watched(shim, data, with_room)
    ballast = data / "durable.db.ballast"
    assert ballast.stat().st_size == 256 * 1024
    done = run_watched(
        shim, data, ["tests.edge.keep.full_disk", str(data)], DISK_BALLAST=str(ballast)
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.split() == ["committed", "and", "laid", "again"]


def test_a_lying_disk_is_found_out_and_the_loss_is_told(
    careful: list[Entry], tmp_path: Path
) -> None:
    disk = Disk()
    for entry in careful:
        if entry.kind != "s" or not entry.name.endswith(("-wal", ".db")):
            disk.do(entry)  # the syncs of the database are ignored, those of the witness are not
    files = disk.after_power_cut(random.Random(1))
    files["durable.db.witness"] = bytes(disk.seen["durable.db.witness"])
    lay_out(tmp_path / "lied", files)
    try:
        file = open_kind(tmp_path / "lied" / "durable.db", "careful")
    except StorageFault as fault:
        raise AssertionError("a lying disk must not stop the unit") from fault
    assert file.new_epoch in ("repaired", "found-behind", "file-missing")
    _, event = read_all(file, file.epoch, Stream.HEALTH)[1]
    assert isinstance(event, UnitEvent)
    assert event.detail["lost_records"]
    file.close()
