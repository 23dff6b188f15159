"""A unit without sensors: a durable file and an uplink, each with its thread, joined by queues."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from edge.keep import DurableFile
from edge.records import Record
from edge.send.link import Broker
from edge.send.messages import (
    Asked,
    Fetch,
    Fetched,
    Held,
    KeeperRequest,
    Notice,
    Release,
    Reopen,
    Reopened,
)
from edge.send.uplink import Uplink
from tests.edge.keep.builders import UNIT, stamp

QUOTA_BYTES = 16 * 1024 * 1024
WAIT_S = 30.0

Order = tuple[Sequence[Record], threading.Event]


class Unit:
    """Commits what it is given and sends it. Use as a context."""

    def __init__(self, path: Path, port: int, seed: int = 1) -> None:
        self._path = path
        self._requests: queue.SimpleQueue[KeeperRequest | Order | None] = queue.SimpleQueue()
        self._opened = threading.Event()
        self._drained = threading.Event()
        self.notices: queue.SimpleQueue[Notice] = queue.SimpleQueue()
        self.asked: queue.SimpleQueue[Asked] = queue.SimpleQueue()
        self.epoch = ""
        self._keeper = threading.Thread(target=self._keep, name="keeper")
        self._keeper.start()
        assert self._opened.wait(WAIT_S)
        self.uplink = Uplink(
            UNIT,
            self.epoch,
            Broker("127.0.0.1", port, keepalive_s=5),
            self._requests.put,
            seed=seed,
            now_ns=time.monotonic_ns,
            now_us=lambda: None,
        )
        self.uplink.start()
        self.commit([])

    def __enter__(self) -> Unit:
        return self

    def __exit__(self, *_: object) -> None:
        self.uplink.stop(WAIT_S)
        self._requests.put(None)
        self._keeper.join(WAIT_S)
        assert self.uplink.failure is None

    def commit(self, records: Sequence[Record]) -> None:
        """Returns once the records are durable."""
        done = threading.Event()
        self._requests.put((records, done))
        assert done.wait(WAIT_S)

    def wait_until_drained(self) -> None:
        """Until the gateway receipted everything."""
        assert self._drained.wait(WAIT_S), "the backlog did not drain"

    def _keep(self) -> None:
        file = DurableFile(self._path, UNIT, stamp(), quota_bytes=QUOTA_BYTES)
        self.epoch = file.epoch
        self._opened.set()
        while (request := self._requests.get()) is not None:
            if isinstance(request, tuple):
                records, done = request
                file.commit(records, {}, stamp())
                self._tell_held(file)
                done.set()
            else:
                self._answer(file, request)
            (self._drained.clear if file.backlog() else self._drained.set)()
        file.close()

    def _tell_held(self, file: DurableFile) -> None:
        for lane in file.lanes():
            self.uplink.post(Held(lane.epoch, lane.stream, lane.released, lane.last))

    def _answer(self, file: DurableFile, request: KeeperRequest) -> None:
        match request:
            case Fetch(epoch, stream, after, records_max, bytes_max):
                batch = file.read_window(epoch, stream, after, records_max, bytes_max, stamp())
                self.uplink.post(Fetched(epoch, stream, after, batch))
            case Release(epoch, stream, upto):
                file.release(epoch, stream, upto)
            case Reopen(epoch, stream, first):
                if (lane := file.reopen(epoch, stream, first)) is not None:
                    self.uplink.post(Reopened(epoch, stream, lane.released, lane.last))
            case Notice():
                self.notices.put(request)
            case Asked():
                self.asked.put(request)


def wait_for(found: Callable[[], bool], changed: threading.Condition) -> None:
    """Until something holds that `changed` is told of."""
    with changed:
        assert changed.wait_for(found, WAIT_S)
