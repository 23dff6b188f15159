"""A process that commits records, tells of each commit once it returned, and sends some of them.

    python -m tests.edge.keep.committer FOLDER KIND COMMITS

KIND: `careful`, or a twin that is careless in one way. A commit is told by a write of its number
into the file `told`, which the watching library sees like any other. Prints what it met.
"""

from __future__ import annotations

import dataclasses
import os
import sys
from pathlib import Path

from edge.keep import StorageFault, StorageFull
from edge.keep.durable_file import DurableFile
from edge.keep.schema import PRAGMAS
from edge.records import Record, Stream
from tests.campaigns.careless import StateApart
from tests.edge.keep.builders import alarm, minute_row, open_file, read, stamp, tokens

NORMAL = tuple(pragma.replace("synchronous=FULL", "synchronous=NORMAL") for pragma in PRAGMAS)


def open_kind(path: Path, kind: str) -> DurableFile:
    """`careful`, `state-apart` or `normal` (synchronous NORMAL)."""
    return open_file(
        path,
        pragmas=NORMAL if kind == "normal" else PRAGMAS,
        kind=StateApart if kind == "state-apart" else DurableFile,
        token=tokens(),
    )


def records_of(commit: int) -> list[Record]:
    """The content of the n-th commit: an alarm and three minutes."""
    rows = [minute_row(3 * commit + n) for n in range(3)]
    return [dataclasses.replace(alarm(commit), at_counter=commit), *rows]


def tell(told: int, commits: int) -> None:
    """So many commits have returned. This file, the tests' own, is on the disk that fails, too."""
    try:
        os.pwrite(told, b"%08d" % commits, 0)
    except OSError:
        os.pwrite(told, b"%08d" % commits, 0)


def work(file: DurableFile, told: int, commits: int) -> None:
    """Commit, tell of it, and now and then send and get a receipt."""
    sent = 0
    for commit in range(commits):
        file.commit(records_of(commit), {"steps": {"commits": commit + 1}}, stamp(commit))
        tell(told, commit + 1)
        if commit % 5 == 4 and (batch := read(file, file.epoch, Stream.INTERVAL, sent)):
            sent = batch.lines[-1].seq
            file.release(file.epoch, Stream.INTERVAL, sent)


def main(folder: Path, kind: str, commits: int) -> None:
    told = os.open(folder / "told", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        file = open_kind(folder / "durable.db", kind)
        tell(told, 0)
        work(file, told, commits)
    except (StorageFull, StorageFault) as fault:
        print(type(fault).__name__, fault)
    else:
        print("done", commits)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
