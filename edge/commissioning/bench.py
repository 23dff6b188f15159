"""What the steps measure with: the listener, the daemon at work, or neither, one at a time.

The sensors' port and the durable file belong to one program, so that the service must be stopped
while a unit is commissioned; the bench says so where it is not.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from math import inf
from pathlib import Path

from edge.clock import Clock, boot_id, steady_s
from edge.commissioning.listening import TURN_S, Listener
from edge.daemon.looking import Look, look
from edge.daemon.running import Daemon
from edge.daemon.sources import Life, open_source
from edge.records import Record
from edge.settings import Settings, measure_plan

READY_S = 20.0
"""Real seconds beyond those of the signal that a measurement may take before it is given up."""


class Bench:
    """One unit on the bench. wait_s: how long it is waited for what a person does by hand."""

    def __init__(
        self,
        settings: Settings,
        base: Path,
        clock: Clock,
        wait_s: float,
        boot: Callable[[], str] = boot_id,
    ) -> None:
        self.settings, self.base, self.clock = settings, base, clock
        self.wait_s, self.boot = wait_s, boot
        self._listener: Listener | None = None

    def listener(self) -> Listener:
        """Opened where it is not open. Raises what opening a source raises."""
        if self._listener is None:
            stop = threading.Event()
            source = open_source(self.settings, self.base, self.clock, Life(stop))
            self._listener = Listener(source, self.clock, stop.set)
        return self._listener

    def release(self) -> None:
        """Lets go of the sensors, so that a daemon can have them."""
        if self._listener is not None:
            self._listener.close()
            self._listener = None

    def look(self, signal_s: float) -> Look:
        """What the sensors give from now on. Raises SourceSilent, SettingsError."""
        listener = self.listener()
        items = listener.gathered(signal_s, signal_s + READY_S)
        source = replace(listener.source, items=lambda _: iter(items))
        return look(self.settings, source, self.clock.utc_us(), signal_s)

    def dry_ma(self, insulator: str) -> float | None:
        """R.m.s. of the dry current as calibrated now; None where it is not."""
        plan = measure_plan(self.settings, self.listener().source.description)
        own = next(one for one in plan.insulators if one.id == insulator)
        return own.calibration_at(self.clock.utc_us()).dry_ma

    def awaited(self, comes: Callable[[], bool], within_s: float = inf) -> float | None:
        """Seconds until something comes, looked for over and over; None: not within the wait."""
        begun_s, most_s = steady_s(), min(self.wait_s, within_s)
        pause = threading.Event()
        while not comes():
            if steady_s() - begun_s > most_s:
                return None
            pause.wait(TURN_S)
        return steady_s() - begun_s


class Work:
    """The daemon at work, and what it has committed since."""

    def __init__(self, daemon: Daemon) -> None:
        self.daemon = daemon
        self._records: list[Record] = []
        self._lock = threading.Lock()

    def hear(self, records: Sequence[Record]) -> None:
        """From the daemon's own thread."""
        with self._lock:
            self._records += records

    def heard(self, is_wanted: Callable[[Record], bool], after: int = 0) -> list[Record]:
        """The records of one kind among those from the `after`th on."""
        with self._lock:
            return [one for one in self._records[after:] if is_wanted(one)]

    @property
    def count(self) -> int:
        """Records heard so far."""
        with self._lock:
            return len(self._records)

    def is_receipted(self) -> bool:
        """Whether the gateway has all that is committed. Raises what ended a thread."""
        self.daemon.look()
        return self.daemon.is_connected and self.daemon.keeper.backlog == 0

    def is_away(self) -> bool:
        """Whether there is no session with the broker. Raises what ended a thread."""
        self.daemon.look()
        return not self.daemon.is_connected


@contextmanager
def at_work(bench: Bench) -> Iterator[Work]:
    """The unit's own daemon on its own durable file, ended in order afterwards."""
    bench.release()
    heard: list[Work] = []
    daemon = Daemon(
        bench.settings, bench.base, bench.clock, told=lambda records: heard[0].hear(records)
    )
    heard.append(Work(daemon))
    try:
        daemon.start()
        yield heard[0]
    finally:
        daemon.stop()
