"""A process that commits minutes through the daemon's store, on a disk that may fail once.

python -m tests.edge.daemon.storing FOLDER COMMITS
"""

from __future__ import annotations

import logging
import sys
from pathlib import Path

from edge.clock import steady_ns
from edge.daemon.storing import Store
from edge.keep import DurableFile
from tests.edge.keep.builders import QUOTA_BYTES, UNIT, minute_row, stamp, tokens


def open_file(folder: Path) -> DurableFile:
    return DurableFile(
        folder / "outbox.sqlite", UNIT, stamp(), quota_bytes=QUOTA_BYTES, token=tokens()
    )


def main(folder: Path, commits: int) -> None:
    logging.basicConfig(level=logging.WARNING)
    store = Store(lambda: open_file(folder), stamp, steady_ns)
    for number in range(commits):
        store.add([minute_row(2 * number), minute_row(2 * number + 1)])
        store.commit({"number": number})
    store.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
