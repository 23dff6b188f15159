"""A process on a disk whose only free space is the ballast.

python -m tests.edge.keep.full_disk FOLDER
"""

from __future__ import annotations

import sys
from pathlib import Path

from edge.records import Stream
from tests.edge.keep.builders import alarm, minute_row, open_file, read_all, stamp


def main(folder: Path) -> None:
    file = open_file(folder / "durable.db")
    ballast = folder / "durable.db.ballast"
    epoch, count = file.epoch, len(read_all(file, file.epoch, Stream.INTERVAL))
    gone = False
    for n in range(200):
        file.commit([minute_row(n), minute_row(n)], {}, stamp(n))
        gone = gone or not ballast.exists() or file._room.disk_is_full
    file.commit([alarm(1)], {}, stamp(201))
    assert gone or count, "the disk never filled"
    assert read_all(file, epoch, Stream.ALARM)[-1][1] == alarm(1)
    print("committed and", "laid again" if ballast.exists() else "no ballast")


main(Path(sys.argv[1]))
