"""Broker, unit and gateway as processes that a campaign kills, stops and starts again."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from gateway.history.store import HistoryFault
from tests.broker import Broker
from tests.campaigns.gate import Found, judged, stored_marks
from tests.campaigns.unit_process import STOP_NAME, Told, told_in

ROOT = Path(__file__).parents[2]
LOOK_S = 0.02
END_S = 30.0
DRAIN_S = 90.0

WINDOWS = ("commit", "send", "store")
"""A fault fell between commit and send, send and store, store and receipt."""

SERVE = """
data = "history"
[broker]
port = {port}
[console]
port = {console}
[sites.capegull.units.pole-7]
"""


class Trial:
    """Use as a context. port: where the unit finds the broker (a proxy's, perhaps).

    shim: the library that watches the disk, where a campaign fills it.
    windows: how many faults found records between two of commit, send, store and receipt.
    """

    def __init__(
        self,
        folder: Path,
        broker: Broker,
        *,
        port: int = 0,
        unit: Sequence[str] = (),
        gateway: Sequence[str] = (),
        shim: Path | None = None,
    ) -> None:
        self.broker, self.port = broker, port or broker.port
        self.unit_folder, self.history_folder = folder / "unit", folder / "history"
        for made in (self.unit_folder, self.history_folder):
            made.mkdir(exist_ok=True)
        self.unit_options, self.gateway_options = list(unit), list(gateway)
        self._shim = shim
        self._clock_shim: Path | None = None
        self.windows: Counter[str] = Counter()
        self.faults: Counter[str] = Counter()
        self._folder = folder
        self._running: dict[str, subprocess.Popen[bytes]] = {}
        self._log_before: dict[str, int] = {}

    def __enter__(self) -> Trial:
        return self

    def __exit__(self, *_: object) -> None:
        for process in self._running.values():
            process.kill()
            process.wait(END_S)

    def start_unit(self) -> None:
        self._start(
            "unit", "tests.campaigns.unit_process", self.unit_folder, self.port, self.unit_options
        )

    def start_gateway(self) -> None:
        self._start(
            "gateway",
            "tests.campaigns.gateway_process",
            self.history_folder,
            self.broker.port,
            self.gateway_options,
        )

    def start_double(self, folder: Path, options: Sequence[str]) -> None:
        """Another unit that says the same name."""
        self._start("double", "tests.campaigns.unit_process", folder, self.port, options)

    def start_whole_gateway(self, console_port: int) -> None:
        """`seafret serve` itself."""
        settings = self._folder / "gateway.toml"
        settings.write_text(SERVE.format(port=self.broker.port, console=console_port))
        self._launch("gateway", ["gateway", "serve", "--settings", str(settings)])

    def _start(
        self, name: str, module: str, folder: Path, port: int, options: Sequence[str]
    ) -> None:
        self._launch(name, [module, str(folder), str(port), *options])

    def _launch(self, name: str, arguments: Sequence[str]) -> None:
        with (self._folder / f"{name}.log").open("ab") as log:
            self._log_before[name] = log.tell()
            self._running[name] = subprocess.Popen(
                [sys.executable, "-m", *arguments],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                cwd=ROOT,
                env={**os.environ, "OPENBLAS_NUM_THREADS": "1", **self._watched(name)},
            )

    def steps_clock(self, shim: Path) -> None:
        """From the next start on both processes live by a wall clock that `step` moves."""
        self._clock_shim = shim

    def step(self, name: str, seconds: int) -> None:
        """So far is a process's wall clock from the real one from now on."""
        fresh = self._folder / f"{name}-step.new"
        fresh.write_text(str(seconds))
        fresh.rename(self._folder / f"{name}-step")

    def _watched(self, name: str) -> dict[str, str]:
        if self._clock_shim is not None:
            step = str(self._folder / f"{name}-step")
            return {"LD_PRELOAD": str(self._clock_shim), "CLOCK_STEP_FILE": step}
        if self._shim is None:
            return {}
        folder = self.unit_folder if name == "unit" else self.history_folder
        full = str(self.is_full(name))
        return {"LD_PRELOAD": str(self._shim), "DISK_FOLDER": str(folder), "DISK_BALLAST": full}

    def kill(self, name: str) -> None:
        """SIGKILL, with a note of where records were at that moment."""
        self.note_fault(name)
        if name == "broker":
            self.broker.stop(kill=True)
            return
        process = self._running.pop(name)
        process.kill()
        process.wait(END_S)

    def is_full(self, name: str) -> Path:
        """The file whose presence makes the disk of a process full (see the watching library)."""
        return self._folder / f"{name}-is-full"

    def end(self, name: str) -> int:
        """SIGTERM, once it has come so far as to hear it; the exit code."""
        process = self._running.pop(name)
        log, until = self._folder / f"{name}.log", time.monotonic() + END_S
        while b"ready" not in log.read_bytes()[self._log_before[name] :]:
            assert process.poll() is None and time.monotonic() < until, self.said(name)[-3000:]
            time.sleep(LOOK_S)
        process.terminate()
        return process.wait(END_S)

    def signal(self, name: str, number: int) -> None:
        self._running[name].send_signal(number)

    def is_running(self, name: str) -> bool:
        return name in self._running and self._running[name].poll() is None

    def said(self, name: str) -> str:
        """What a process has written so far."""
        return (self._folder / f"{name}.log").read_text(errors="replace")

    def note_fault(self, name: str) -> None:
        """Count a fault, and between which moments of a record's way it falls."""
        self.faults[name] += 1
        self.windows.update(self._windows_now())

    def _windows_now(self) -> set[str]:
        """Between which two moments some record is now."""
        before, stored, after = self.told(), self.stored_marks(), self.told()
        lanes = before.lanes.items()
        found = {
            "commit": any(committed > sent for _, (committed, sent, _) in lanes),
            "send": any(sent > stored.get(name, 0) for name, (_, sent, _) in lanes),
            "store": any(
                stored.get(name, 0) > receipted for name, (_, _, receipted) in after.lanes.items()
            ),
        }
        return {window for window, is_open in found.items() if is_open}

    def await_unmet_window(self, wait_s: float = END_S) -> bool:
        """Until a record is where no fault has found one yet; False where every window was met."""
        unmet = {window for window in WINDOWS if not self.windows[window]}
        until = time.monotonic() + wait_s
        while unmet and not unmet & self._windows_now():
            assert time.monotonic() < until, f"no record was ever in {unmet}: {self.told()}"
        return bool(unmet)

    def told(self) -> Told:
        return told_in(self.unit_folder)

    def stored_marks(self) -> dict[str, int]:
        """What the history holds; nothing where it cannot be asked at this moment."""
        try:
            return stored_marks(self.history_folder)
        except (HistoryFault, sqlite3.Error):
            return {}

    def stored(self) -> int:
        """Numbers in the history, over all lanes."""
        return sum(self.stored_marks().values())

    def await_told(self, holds: Callable[[Told], bool], wait_s: float = DRAIN_S) -> Told:
        """Until what the unit tells satisfies."""
        until = time.monotonic() + wait_s
        while not holds(told := self.told()):
            assert time.monotonic() < until, self._what_hangs(told)
            for name, process in self._running.items():
                assert process.poll() is None, f"{name} has ended: {self.said(name)[-3000:]}"
            time.sleep(LOOK_S)
        return told

    def await_flow(self, wait_s: float) -> None:
        """Until more is receipted than now, or the wait is over."""
        before, until = self.told().receipted(), time.monotonic() + wait_s
        while self.told().receipted() <= before and time.monotonic() < until:
            time.sleep(LOOK_S)

    def await_stored(self, total: int, wait_s: float = DRAIN_S) -> None:
        """Until the history holds so many numbers."""
        self.await_told(lambda _: self.stored() >= total, wait_s)

    def _what_hangs(self, told: Told) -> str:
        """What both processes say of themselves, for the one who looks into a failure."""
        for name in self._running:
            self.signal(name, signal.SIGUSR1)
        time.sleep(1)
        said = "\n".join(f"{name}: {self.said(name)[-3000:]}" for name in self._running)
        log = self.broker.log.read_text(errors="replace")[-3000:]
        return f"{told}, stored {self.stored()}\n{said}\nbroker: {log}"

    def await_drained(self, until: int, wait_s: float = DRAIN_S) -> None:
        """Until that many records are made, and every number is receipted."""
        self.await_told(lambda told: told.made >= until and told.is_receipted(), wait_s)

    def finish(self, until: int | None = None, wait_s: float = DRAIN_S) -> Found:
        """Drain, end both processes and judge; without a number the unit makes no more first."""
        if until is None:
            (self.unit_folder / STOP_NAME).touch()
            until = self.await_told(lambda told: told.stopped and told.waiting == 0, wait_s).made
        self.await_drained(until, wait_s)
        assert self.end("unit") == 0, self.said("unit")[-3000:]
        assert self.end("gateway") == 0, self.said("gateway")[-3000:]
        return self.judged(until)

    def judged(self, until: int, *, outbox_counts: bool = False) -> Found:
        """The verdict, once both processes have ended."""
        return judged(self.unit_folder, self.history_folder, until, outbox_counts=outbox_counts)

    def figures(self, found: Found) -> str:
        """A line for the table of results."""
        return (
            f"faults {dict(self.faults)}, between {dict(self.windows)}; {found.records} records, "
            f"lost {found.lost_count()}, doubled {len(found.doubled)}, reordered "
            f"{len(found.reordered)}, declared {sum(found.declared.values())}"
        )


def stopped(trial: Trial, name: str) -> None:
    """As if the process hung."""
    trial.signal(name, signal.SIGSTOP)
