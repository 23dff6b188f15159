"""A process that fills a small quota, so that its last commits put older rows together.

    python -m tests.edge.keep.thinning_committer FOLDER COMMITS

Tells of each commit as `tests.edge.keep.committer` does.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from edge.keep.durable_file import DurableFile
from edge.keep.room import QUOTA_BYTES_MIN
from edge.records import IntervalRow
from tests.edge.keep.builders import minute_row, open_file, stamp, tokens

ROWS = 100


def rows_of(commit: int) -> list[IntervalRow]:
    """The content of the n-th commit."""
    return [
        minute_row(ROWS * commit + n, arcing_charge_nc=(n, commit), spike_halfcycles=n)
        for n in range(ROWS)
    ]


def open_small(path: Path) -> DurableFile:
    return open_file(path, quota_bytes=QUOTA_BYTES_MIN, token=tokens())


def main(folder: Path, commits: int) -> None:
    told = os.open(folder / "told", os.O_RDWR | os.O_CREAT, 0o600)
    file = open_small(folder / "durable.db")
    os.pwrite(told, b"%08d" % 0, 0)
    for commit in range(commits):
        file.commit(rows_of(commit), {"steps": commit + 1}, stamp(commit))
        os.pwrite(told, b"%08d" % (commit + 1), 0)
    print("done", commits)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
