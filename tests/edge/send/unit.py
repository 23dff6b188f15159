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

    def __init__(
        self, path: Path, broker: int | Broker, *, name: str = UNIT, wait_s: float = WAIT_S
    ) -> None:
        """broker: a whole address, or the port of one on this machine that lets everybody in."""
        self._path, self._name, self._wait_s = path, name, wait_s
        self._requests: queue.SimpleQueue[KeeperRequest | Order | None] = queue.SimpleQueue()
        self._opened = threading.Event()
        self._drained = threading.Event()
        self.notices: queue.SimpleQueue[Notice] = queue.SimpleQueue()
        self.asked: queue.SimpleQueue[Asked] = queue.SimpleQueue()
        self.epoch = ""
        self._keeper = threading.Thread(target=self._keep, name="keeper")
        self._keeper.start()
        assert self._opened.wait(wait_s)
        if isinstance(broker, int):
            broker = Broker("127.0.0.1", broker, keepalive_s=5)
        self.uplink = Uplink(
            name,
            self.epoch,
            broker,
            self._requests.put,
            seed=1,
            now_ns=time.monotonic_ns,
            now_us=lambda: None,
        )
        self.uplink.start()
        self.commit([])

    def __enter__(self) -> Unit:
        return self

    def __exit__(self, *_: object) -> None:
        self.uplink.stop(self._wait_s)
        self._requests.put(None)
        self._keeper.join(self._wait_s)
        assert self.uplink.failure is None

    def commit(self, records: Sequence[Record]) -> None:
        """Returns once the records are durable."""
        done = threading.Event()
        self._requests.put((records, done))
        assert done.wait(self._wait_s)

    def drained(self) -> bool:
        """Whether the gateway has receipted everything."""
        return self._drained.is_set()

    def wait_until_drained(self) -> None:
        """Until the gateway receipted everything."""
        assert self._drained.wait(self._wait_s), "the backlog did not drain"

    def _keep(self) -> None:
        file = DurableFile(self._path, self._name, stamp(), quota_bytes=QUOTA_BYTES)
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
