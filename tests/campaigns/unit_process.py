"""A unit without sensors as a process: the daemon's store and uplink, fed with numbered records.

    python -m tests.campaigns.unit_process FOLDER PORT [options]

Its step is `made -> made + 1`: the n-th record carries n, and the state is committed with it, so
the history must hold 0, 1, 2, ... without a gap or repetition, wherever the process was killed.
`told` in FOLDER says how far it is (see Told); it outlives the process, as its files do.

Twins: `state-apart` saves the state in a transaction of its own; `broker` takes the broker's
acknowledgement for a receipt, and deletes.
"""

from __future__ import annotations

import argparse
import json
import logging
import os
import queue
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace

from edge.clock import Clock, boot_id, boot_ns, steady_ns
from edge.daemon.storing import Store
from edge.keep import DurableFile, Stamp
from edge.records import Record
from edge.send import protocol, uplink
from edge.send.link import Broker
from edge.send.messages import Fetch, KeeperRequest, Release, Reopen
from edge.send.uplink import Uplink
from tests.campaigns.careless import DeletesOnRelease, StateApart
from tests.campaigns.numbered import record
from tests.edge.keep.builders import UNIT
from tests.edge.send.simulation import careless_step

TURN_S = 0.02
MADE_A_TURN_MAX = 1000
"""As the daemon, it commits at most a few hundred records before it serves the sender again."""

FILE_NAME = "outbox.sqlite"
STOP_NAME = "make-no-more"
"""Where this file lies in FOLDER, no further record is made."""
TOLD_BYTES = 4096


@dataclass(frozen=True)
class Told:
    """made: records committed. lanes: of each "epoch/stream" the numbers committed, sent and
    receipted. notices: how many the sender gave. waiting: records that no commit has taken yet.
    stopped: none will be made any more.
    """

    made: int = 0
    notices: int = 0
    waiting: int = 0
    stopped: bool = False
    lanes: Mapping[str, tuple[int, int, int]] = field(default_factory=dict)

    def is_receipted(self) -> bool:
        """Whether the gateway has receipted all that is committed."""
        return bool(self.lanes) and all(one[2] >= one[0] for one in self.lanes.values())

    def receipted(self) -> int:
        """Numbers receipted, over all lanes."""
        return sum(one[2] for one in self.lanes.values())


def told_in(folder: Path) -> Told:
    """What the unit said last; nothing before it said anything."""
    path = folder / "told"
    while True:
        try:
            content = path.read_bytes().decode() if path.exists() else ""
            return Told(**json.loads(content)) if content.strip() else Told()
        except ValueError:
            continue  # read while it was being written


class Unit:
    """One thread owns the file, as in the daemon; the uplink has its own."""

    def __init__(self, options: argparse.Namespace) -> None:
        self._options = options
        self._clock = Clock()
        self._requests: queue.SimpleQueue[KeeperRequest] = queue.SimpleQueue()
        self.stop = threading.Event()
        kind = DeletesOnRelease if options.twin == "broker" else DurableFile
        kind = StateApart if options.twin == "state-apart" else kind
        self._store = Store(self._opening(kind), self._stamp, steady_ns)
        snapshot = self._store.snapshot("numbered")
        self.made = snapshot["made"] if isinstance(snapshot, Mapping) else 0
        self._began_s, self._began_at = time.monotonic(), self.made
        self._notices, self._committed, self._stopped = 0, self.made, False
        self._sent = {name: lane[1] for name, lane in told_in(options.folder).lanes.items()}
        self._told = os.open(options.folder / "told", os.O_RDWR | os.O_CREAT, 0o600)
        self._uplink = Uplink(
            options.unit,
            self._store.epoch,
            Broker("127.0.0.1", options.port, keepalive_s=options.keepalive),
            self._requests.put,
            seed=int.from_bytes(os.urandom(8), "big"),
            now_ns=steady_ns,
            now_us=lambda: self._clock.utc_us() if options.trusts_clock else None,
        )

    def _opening(self, kind: type[DurableFile]) -> Callable[[], DurableFile]:
        options = self._options
        path = options.folder / FILE_NAME
        return lambda: kind(path, options.unit, self._stamp(), quota_bytes=options.quota_bytes)

    def _stamp(self) -> Stamp:
        return Stamp(boot_id(), "local", boot_ns(), self._clock.utc_us())

    def run(self) -> None:
        """Until told to stop."""
        self._uplink.start()
        while not self.stop.is_set():
            self._make()
            self._serve()
            if self._store.wait_s() == 0:
                self._store.commit({"numbered": {"made": self.made}})
            for answer in self._store.answers():
                self._uplink.post(answer)
            self._tell()
            if self._uplink.failure is not None:
                raise self._uplink.failure
        self._uplink.stop(20)
        self._store.commit({"numbered": {"made": self.made}})
        self._tell()
        self._store.close()

    def __str__(self) -> str:
        state = self._uplink._state
        lanes = "\n".join(str(lane) for lane in state.lanes if lane.receipted < lane.last)
        return (
            f"now {steady_ns()} alive {self._uplink.alive_ns} up {state.up} congested "
            f"{state.congested} window {state.window_bytes} round trip {state.round_trip_ns} "
            f"link {self._uplink._link}\n{lanes}"
        )

    def _make(self) -> None:
        """As many records as are due by the rate, in bursts as the steps of a minute make them."""
        options = self._options
        due = self._began_at + int((time.monotonic() - self._began_s) * options.rate)
        due = min(due - due % options.burst, options.until, self.made + MADE_A_TURN_MAX)
        self._stopped = (options.folder / STOP_NAME).exists()
        if self._stopped:
            return
        made: list[Record] = [record(n) for n in range(self.made, due)]
        self.made = max(self.made, due)
        self._store.add(made)

    def _serve(self) -> None:
        try:
            request = self._requests.get(timeout=TURN_S)
            while True:
                if isinstance(request, Fetch | Release | Reopen):
                    self._store.serve(request)
                else:
                    self._notices += 1
                request = self._requests.get_nowait()
        except queue.Empty:
            return

    def _tell(self) -> None:
        if self._store.wait_s() is None:
            self._committed = self.made
        waiting = len(self._store._waiting)
        told = Told(self._committed, self._notices, waiting, self._stopped, dict(self._lanes()))
        content = json.dumps(vars(told)).encode()
        assert len(content) <= TOLD_BYTES
        os.pwrite(self._told, content.ljust(TOLD_BYTES), 0)

    def _lanes(self) -> Iterator[tuple[str, tuple[int, int, int]]]:
        """The uplink may not have heard of all that is committed."""
        known = {(lane.epoch, lane.stream): lane for lane in self._uplink._state.lanes}
        for (epoch, stream), last in self._store._lasts.items():
            name, lane = f"{epoch}/{stream.value}", known.get((epoch, stream))
            sent, receipted = (lane.highest_sent, lane.receipted) if lane else (0, 0)
            self._sent[name] = max(self._sent.get(name, 0), sent)
            yield name, (last, self._sent[name], receipted)


def options_of(arguments: list[str] | None = None) -> argparse.Namespace:
    """What the command line says."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("port", type=int)
    parser.add_argument("--unit", default=UNIT)
    parser.add_argument("--rate", type=float, default=300.0)
    parser.add_argument("--burst", type=int, default=60)
    parser.add_argument("--until", type=int, default=1_000_000_000)
    parser.add_argument("--twin", default="")
    parser.add_argument("--quota-bytes", type=int, default=64 * 1024 * 1024)
    parser.add_argument("--keepalive", type=int, default=5)
    parser.add_argument("--trusts-clock", action="store_true")
    return parser.parse_args(arguments)


def main() -> None:
    options = options_of()
    logging.basicConfig(level=logging.ERROR)  # not of every alarm
    # Connections that fail one after the other would wait up to a minute: shortened for a campaign.
    uplink.RECONNECT_NS_MIN, uplink.RECONNECT_NS_MAX = 200_000_000, 1_000_000_000
    if options.twin == "broker":
        twin = SimpleNamespace(step=careless_step, next_ns=protocol.next_ns)
        uplink.protocol = twin  # type: ignore[assignment]
    unit = Unit(options)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: unit.stop.set())
    signal.signal(signal.SIGUSR1, lambda *_: print(unit, file=sys.stderr, flush=True))
    print("ready", flush=True)
    unit.run()


if __name__ == "__main__":
    main()
