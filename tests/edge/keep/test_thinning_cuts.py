"""The power goes while a full quota is thinned: every sum is that of whole commits."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from edge.keep.thinning import THINNED
from edge.records import IntervalRow, Loss, Stream
from tests.edge.keep.builders import covered, read_all
from tests.edge.keep.disk import Disk, Entry, lay_out, read_log, run_watched
from tests.edge.keep.test_merging import totals
from tests.edge.keep.thinning_committer import open_small, rows_of

COMMITS = 26
CUTS, LONG_CUTS = 10, 150


@pytest.fixture(scope="module")
def log(shim: Path, tmp_path_factory: pytest.TempPathFactory) -> list[Entry]:
    """What a unit with a small quota did on the disk."""
    folder = tmp_path_factory.mktemp("thinned")
    data = folder / "data"
    data.mkdir()
    script = ["tests.edge.keep.thinning_committer", str(data), str(COMMITS)]
    done = run_watched(shim, data, script, DISK_LOG=str(folder / "log"))
    assert done.stdout == f"done {COMMITS}\n", done.stdout + done.stderr
    return read_log(folder / "log")


def told_at(log: list[Entry]) -> list[int]:
    """Where in the log each commit was told."""
    return [at for at, entry in enumerate(log) if entry.name == "told" and entry.content]


def held_after(folder: Path, files: dict[str, bytes]) -> tuple[list[IntervalRow], set[str]]:
    """Rows of the first epoch, and the reasons of its tombstones."""
    lay_out(folder, files)
    file = open_small(folder / "durable.db")
    found = read_all(file, file.lanes()[0].epoch, Stream.INTERVAL)
    assert covered(found) == list(range(1, len(covered(found)) + 1))
    file.close()
    rows = [one for _, one in found if isinstance(one, IntervalRow)]
    return rows, {one.reason for _, one in found if isinstance(one, Loss)}


@pytest.mark.parametrize("power", [False, True], ids=["killed", "without power"])
def test_a_cut_while_rows_are_put_together_leaves_whole_commits_and_exact_sums(
    log: list[Entry], memory: Path, power: bool
) -> None:
    cut_everywhere(log, memory, power, CUTS)


@pytest.mark.long
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("power", [False, True], ids=["killed", "without power"])
def test_many_cuts_while_rows_are_put_together_leave_whole_commits_and_exact_sums(
    log: list[Entry], memory: Path, power: bool
) -> None:
    cut_everywhere(log, memory, power, LONG_CUTS)


def cut_everywhere(log: list[Entry], memory: Path, power: bool, cuts: int) -> None:
    chance = random.Random(11)
    told = told_at(log)
    begin = told[COMMITS // 2]
    disk, done, reasons = Disk(), 0, set[str]()
    for number in range(cuts):
        at = begin + (len(log) - begin) * (number + 1) // cuts
        for entry in log[done:at]:
            disk.do(entry)
        done = at
        files = disk.after_power_cut(chance) if power else disk.after_kill()
        rows, why = held_after(memory / f"cut-{number}", files)
        reasons |= why
        least = sum(place < at for place in told[1:])
        expected = [
            totals([row for commit in range(commits) for row in rows_of(commit)])
            for commits in (least, least + 1)
        ]
        assert totals(rows) in expected, f"cut {number}"
    assert reasons == {THINNED}
