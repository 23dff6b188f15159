"""A process whose disk fills while the sender asks for records, and has room again.

python -m tests.edge.daemon.serving FOLDER

The watching library fills the disk while the file that DISK_BALLAST names is there.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from edge.clock import steady_ns
from edge.daemon.storing import Store
from edge.records import Stream
from edge.send.messages import Fetch, Fetched, Release, Reopen
from tests.edge.daemon.storing import open_file
from tests.edge.keep.builders import minute_row, stamp


def main(folder: Path) -> None:
    store = Store(lambda: open_file(folder), stamp, steady_ns)
    store.add([minute_row(n) for n in range(900)])
    store.commit({"number": 1})
    store.close()
    store = Store(lambda: open_file(folder), stamp, steady_ns)
    store.answers()
    full = Path(os.environ["DISK_BALLAST"])
    full.touch()
    of = (store.epoch, Stream.INTERVAL)
    for request in (Fetch(*of, 0, 100, 60_000), Reopen(*of, 1), Release(*of, 0)):
        store.serve(request)
    store.trim(stamp().t_utc_us)
    assert store.wait_s() is not None, "nothing would try again"
    answers = store.answers()
    store.commit({"number": 2})
    full.unlink()
    store.commit({"number": 3})
    answers += store.answers()
    served = [one for one in answers if isinstance(one, Fetched) and one.batch]
    print("served", len(served), "on", store.snapshot("number"))
    full.touch()
    store.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
