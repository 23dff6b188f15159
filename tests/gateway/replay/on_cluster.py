"""In a process of its own: a site's units, then recordings, on a cluster that loses a worker.

Run as: python -m tests.gateway.replay.on_cluster ADDRESS DATA FEED OUT PID
"""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path

from gateway.history.sqlite_store import SqliteHistory
from gateway.replay.rows_run import RowsRequest
from gateway.replay.run import Request, replay
from gateway.replay.site_run import decide_site
from gateway.replay.spreading import opened_workers
from gateway.replay.stored_units import insulators_by_unit, wanted_rows
from tests.gateway.replay.tasks import Losing
from tests.gateway.replay.units import SITE


def requests_of(data: Path) -> list[RowsRequest]:
    """One for each unit."""
    reader = SqliteHistory(data).reader(SITE)
    try:
        names = insulators_by_unit(reader)
        return [RowsRequest(SITE, wanted_rows(reader, one, None, None)) for one in names]
    finally:
        reader.close()


def main() -> None:
    address, data, feed, out, pid = sys.argv[1:]
    with opened_workers(1, address) as workers:
        print("workers", workers.count)
        losing = Losing(workers, lambda: os.kill(int(pid), signal.SIGKILL))
        decide_site(losing, Path(data), requests_of(Path(data)), Path(out) / "units")
        while workers.count > 1:  # the scheduler hears of the loss in its own time
            time.sleep(0.05)
        print("workers", workers.count)
    replay(Request((Path(feed),), scheduler=address), Path(out) / "feed")


if __name__ == "__main__":
    main()
