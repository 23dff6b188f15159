"""A recorded run of a process, cut at any of its writes and syncs, and what was left."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from edge.wire import body_line
from gateway.history.sqlite_store import SqliteHistory
from gateway.ingest.intake import Intake
from tests.campaigns.history_committer import ROWS, SITE, records_of
from tests.edge.keep.disk import Disk, Entry, lay_out, read_log, run_watched
from tests.edge.keep.test_cuts import Found, found_after
from tests.gateway.build import key

UNIT_SCRIPT, HISTORY_SCRIPT = "tests.edge.keep.committer", "tests.campaigns.history_committer"

Look = Callable[[Path, dict[str, bytes], int], Found]
"""Lays out files and says what they hold; the number is that of the told commits."""


@dataclass(frozen=True)
class Run:
    """What an undisturbed run did on the disk, and how its files are looked at."""

    log: list[Entry]
    look: Look

    def points(self) -> list[int]:
        """Every place in the log after the files were made: before each write, sync and cut."""
        start = next(at for at, entry in enumerate(self.log) if entry.name == "told")
        return list(range(start + 1, len(self.log) + 1))

    def told_before(self, at: int) -> int:
        return int(next(e for e in reversed(self.log[:at]) if e.name == "told").content)

    def calls(self) -> int:
        """Writes and syncs, as the watching library counts them."""
        return sum(entry.kind in "ws" for entry in self.log)


def unit_run(shim: Path, folder: Path, kind: str, commits: int) -> Run:
    """The durable file: commits, sends and receipts."""
    log = _logged(shim, folder, UNIT_SCRIPT, str(commits), kind, kind_first=True)

    def look(there: Path, files: dict[str, bytes], told: int) -> Found:
        note = Entry("w", "told", 0, b"%08d" % told)
        return found_after(there, files, kind, [note])

    return Run(log, look)


def history_run(shim: Path, folder: Path, kind: str, commits: int) -> Run:
    """The gateway's ingest."""
    return Run(_logged(shim, folder, HISTORY_SCRIPT, str(commits), kind), look_at_history)


def _logged(
    shim: Path, folder: Path, script: str, commits: str, kind: str, *, kind_first: bool = False
) -> list[Entry]:
    folder.mkdir()
    (data := folder / "data").mkdir()
    arguments = (kind, commits) if kind_first else (commits, kind)
    done = run_watched(shim, data, [script, str(data), *arguments], DISK_LOG=str(folder / "log"))
    assert done.stdout == f"done {commits}\n", done.stdout + done.stderr
    return read_log(folder / "log")


def look_at_history(there: Path, files: dict[str, bytes], told: int) -> Found:
    """held: whole commits in the history, its lines exactly those; it must take the next one."""
    lay_out(there, files)
    history = SqliteHistory(there)
    intake = Intake(history, [SITE], lambda *_: None)
    with closing(intake), closing(history.reader(SITE)) as reader:
        upto = intake.marks.get(key(), 0)
        bodies = [entry.body for entry in reader.lines(key())]
        said = reader.ask("PRAGMA integrity_check").fetchall()
    held = upto // ROWS
    expected = [body_line(record) for commit in range(held) for record in records_of(commit)]
    assert (upto % ROWS, bodies, said) == (0, expected, [("ok",)])
    return Found(told, held, held, "")


def kills(run: Run, memory: Path, every: int = 1) -> Iterator[Found]:
    """Killed at each (or every n-th) write and sync: what the kernel had taken is there."""
    disk, done = Disk(), 0
    for at in run.points()[::every]:
        for entry in run.log[done:at]:
            disk.do(entry)
        done = at
        yield run.look(memory / f"kill-{at}", disk.after_kill(), run.told_before(at))


def power_cuts(run: Run, memory: Path, cuts: int, seed: int) -> Iterator[Found]:
    """The power goes at points spread over the run: unsynced sectors are there, or not, or torn."""
    chance = random.Random(seed)
    points = run.points()
    at_each = sorted(chance.choice(points) for _ in range(cuts))
    disk, done = Disk(), 0
    for number, at in enumerate(at_each):
        for entry in run.log[done:at]:
            disk.do(entry)
        done = max(done, at)
        files = disk.after_power_cut(chance)
        yield run.look(memory / f"cut-{number}", files, run.told_before(at))


def is_kept(found: Found) -> bool:
    """Everything told is held, at most the commit under way besides; the state fits the records."""
    return found.told <= found.held <= found.told + 1 and found.state == found.held


def where_it_fell(found: Sequence[Found]) -> dict[str, int]:
    """How many cuts fell within a commit that was kept, within one that was not, and after one."""
    return {
        "within a commit, kept": sum(one.held == one.told + 1 for one in found),
        "within or before a commit, not kept": sum(one.held == one.told for one in found),
    }
