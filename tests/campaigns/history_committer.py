"""A process that takes messages into a history and tells of each commit once it returned.

    python -m tests.campaigns.history_committer FOLDER COMMITS [KIND]

KIND `normal`: the twin whose history does not wait for the disk. Told as by the unit's committer.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from edge.records import Record
from gateway.history import sqlite_store
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import HistoryFault
from gateway.ingest.intake import Arrival, Intake
from tests.edge.keep.committer import tell
from tests.gateway.build import UNIT, epoch_start, interval, message, topic

SITE = UNIT.partition(".")[0]
ROWS = 5
TRIES = 3

Result = TypeVar("Result")


def records_of(commit: int) -> list[Record]:
    """The content of the n-th commit: ROWS lines, the very first one begins the epoch."""
    rows: list[Record] = [interval(ROWS * commit + n) for n in range(ROWS)]
    return [epoch_start(), *rows[1:]] if commit == 0 else rows


def main(folder: Path, commits: int, kind: str) -> None:
    if kind == "normal":
        sqlite_store._WRITER_PRAGMAS = tuple(
            pragma.replace("= FULL", "= NORMAL") for pragma in sqlite_store._WRITER_PRAGMAS
        )
    told = os.open(folder / "told", os.O_RDWR | os.O_CREAT, 0o600)
    intake = tried(lambda: Intake(SqliteHistory(folder), [SITE], lambda *_: None))
    tell(told, 0)
    for commit in range(commits):
        arrival = Arrival(topic(), message(1 + ROWS * commit, records_of(commit)), False, at_us=1)
        tried(lambda one=arrival: intake.commit([one], at_us=1))  # type: ignore[misc]
        tell(told, commit + 1)
    print("done", commits)


def tried(work: Callable[[], Result]) -> Result:
    """Once more where the disk failed, as the ingest does, and the service manager at the start."""
    for _ in range(TRIES - 1):
        try:
            return work()
        except HistoryFault as fault:
            print("once more:", fault, file=sys.stderr)
    return work()


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3] if len(sys.argv) > 3 else "careful")
