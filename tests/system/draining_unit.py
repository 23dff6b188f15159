"""A unit with weeks of backlog as a process, that raises an alarm now and then while it drains.

    python -m tests.system.draining_unit FOLDER PORT ALARM_EVERY_S

The daemon's store and uplink without its signal. Prints, as JSON, how long the backlog took, how
late each alarm was receipted, and how its resident memory went.
"""

from __future__ import annotations

import json
import logging
import queue
import sys
from dataclasses import asdict, dataclass, field
from pathlib import Path

from edge.clock import steady_s
from edge.daemon.running import FILE_NAME
from edge.daemon.storing import Store
from edge.keep import DurableFile
from edge.records import Stream
from edge.send.link import Broker
from edge.send.messages import Fetch, KeeperRequest, Release, Reopen
from edge.send.uplink import Uplink
from tests.edge.keep.builders import UNIT, alarm, stamp

QUOTA_BYTES = 2_000_000_000
"""As shipped."""

TURN_S = 0.02
MEMORY_EVERY_S = 0.5


@dataclass
class Told:
    """backlog: records at the beginning. late_s: of each alarm, from its commit to its receipt.
    memory_mb: every half second, from the moment at which the first receipt was heard."""

    backlog: int = 0
    drained_s: float = 0.0
    late_s: list[float] = field(default_factory=list)
    memory_mb: list[float] = field(default_factory=list)


def resident_mb(process: str = "self") -> float:
    """Resident memory of a process by its kernel."""
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS"))


class DrainingUnit:
    """One thread owns the file, as in the daemon; the uplink has its own."""

    def __init__(self, folder: Path, port: int) -> None:
        self._requests: queue.SimpleQueue[KeeperRequest] = queue.SimpleQueue()
        path = folder / FILE_NAME
        self._store = Store(
            lambda: DurableFile(path, UNIT, stamp(), quota_bytes=QUOTA_BYTES),
            stamp,
            lambda: round(steady_s() * 1e9),
        )
        self._uplink = Uplink(
            UNIT,
            self._store.epoch,
            Broker("127.0.0.1", port, keepalive_s=5),
            self._requests.put,
            seed=1,
            now_ns=lambda: round(steady_s() * 1e9),
            now_us=lambda: None,
        )
        self._on_their_way: dict[int, float] = {}
        self._made = 0
        self.told = Told(backlog=self._store.backlog())

    def run(self, alarm_every_s: float) -> Told:
        """Until everything is receipted; at least three alarms are raised."""
        self._uplink.start()
        began_s = next_alarm_s = next_look_s = steady_s()
        heard = False
        while self._on_their_way or self._made < 3 or self._store.backlog():
            now_s = steady_s()
            is_draining = self._store.backlog() > len(self._on_their_way)
            if not is_draining and not self.told.drained_s:
                self.told.drained_s = now_s - began_s
            heard = heard or self._store.backlog() < self.told.backlog
            if heard and now_s >= next_alarm_s and (is_draining or self._made < 3):
                next_alarm_s = now_s + alarm_every_s
                self._alarm(now_s)
            if heard and now_s >= next_look_s:
                next_look_s = now_s + MEMORY_EVERY_S
                self.told.memory_mb.append(resident_mb())
            self._serve()
            assert self._uplink.failure is None
        self.told.drained_s = self.told.drained_s or steady_s() - began_s
        self._uplink.stop(20)
        self._store.close()
        return self.told

    def _alarm(self, now_s: float) -> None:
        self._store.add([alarm(self._made)])
        self._store.commit({})
        self._made += 1
        last = next(
            last for (_, stream), last in self._store._lasts.items() if stream is Stream.ALARM
        )
        self._on_their_way[last] = now_s

    def _serve(self) -> None:
        try:
            request = self._requests.get(timeout=TURN_S)
            while True:
                assert isinstance(request, Fetch | Release | Reopen), request
                if isinstance(request, Release) and request.stream is Stream.ALARM:
                    self._released(request.upto)
                self._store.serve(request)
                request = self._requests.get_nowait()
        except queue.Empty:
            pass
        for answer in self._store.answers():
            self._uplink.post(answer)

    def _released(self, upto: int) -> None:
        for seq in [seq for seq in self._on_their_way if seq <= upto]:
            self.told.late_s.append(steady_s() - self._on_their_way.pop(seq))


def main() -> None:
    folder, port, alarm_every_s = sys.argv[1:]
    logging.basicConfig(level=logging.ERROR)
    unit = DrainingUnit(Path(folder), int(port))
    print(json.dumps(asdict(unit.run(float(alarm_every_s)))), flush=True)


if __name__ == "__main__":
    main()
