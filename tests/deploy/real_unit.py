"""A unit's durable file and uplink over mutual TLS, without sensors."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Sequence
from pathlib import Path

from edge.keep import DurableFile, Stamp
from edge.records import Record
from edge.send.link import Broker, Tls
from edge.send.messages import (
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
from tests.gateway.build import START_US

QUOTA_BYTES = 16 * 1024 * 1024
WAIT_S = 60.0

Order = tuple[Sequence[Record], threading.Event]


class RealUnit:
    """Commits what it is given and sends it. Use as a context."""

    def __init__(self, path: Path, unit: str, port: int, pair: Path) -> None:
        """pair: folder with ca.pem, cert.pem and key.pem, read anew for every connection."""
        self._path, self._unit = path, unit
        self._requests: queue.SimpleQueue[KeeperRequest | Order | None] = queue.SimpleQueue()
        self._opened, self._drained = threading.Event(), threading.Event()
        self.notices: queue.SimpleQueue[Notice] = queue.SimpleQueue()
        self._keeper = threading.Thread(target=self._keep, name="keeper")
        self._keeper.start()
        assert self._opened.wait(WAIT_S)
        tls = Tls(pair / "ca.pem", pair / "cert.pem", pair / "key.pem")
        self.uplink = Uplink(
            unit,
            self.epoch,
            Broker("localhost", port, tls, keepalive_s=5),
            self._requests.put,
            seed=1,
            now_ns=time.monotonic_ns,
            now_us=lambda: None,
        )
        self.uplink.start()
        self.commit([])

    def __enter__(self) -> RealUnit:
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

    def drained(self) -> bool:
        """Whether the gateway has receipted everything."""
        return self._drained.is_set()

    def wait_until_drained(self) -> None:
        assert self._drained.wait(WAIT_S), "the backlog did not drain"

    def _keep(self) -> None:
        file = DurableFile(self._path, self._unit, stamp(), quota_bytes=QUOTA_BYTES)
        self.epoch = file.epoch
        self._opened.set()
        while (request := self._requests.get()) is not None:
            if isinstance(request, tuple):
                records, done = request
                file.commit(records, {}, stamp())
                for lane in file.lanes():
                    held = Held(lane.epoch, lane.stream, lane.released, lane.last)
                    self.uplink.post(held)
                done.set()
            else:
                self._answer(file, request)
            (self._drained.clear if file.backlog() else self._drained.set)()
        file.close()

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


def stamp() -> Stamp:
    return Stamp("boot-1", "gnss", time.monotonic_ns(), START_US)
