"""A process of the demo: started, heard, measured and ended, and never left behind."""

from __future__ import annotations

import contextlib
import ctypes
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

LOOPBACK = "127.0.0.1"

START_S_MAX = 60.0
"""A process that is not ready by then has failed; a busy machine may need long for imports."""

END_S_MAX = 12.0
"""A process that was asked to end and has not by then is killed."""

LOOK_S = 0.05
"""Between two looks at a process that is starting."""

_PR_SET_PDEATHSIG = 1
_libc = ctypes.CDLL(None, use_errno=True)

ENVIRONMENT = {
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "PYTHONUNBUFFERED": "1",
}
"""Small matrices gain nothing from more threads, and two daemons share the machine."""


class ProcessFault(OSError):
    """A process of the demo could not be started, or ended by itself."""


class Process:
    """One program of ours in a process group of its own, so that Ctrl-C reaches only the demo.

    name: as the demo speaks of it. words: the command line. log: where it writes. It ends with the
    demo, however the demo ends: the kernel sees to it (prctl(2), PR_SET_PDEATHSIG).
    """

    def __init__(self, name: str, words: Sequence[str], folder: Path, log: Path) -> None:
        self.name, self.log = name, log
        self._words, self._folder = list(words), folder
        self._running: subprocess.Popen[bytes] | None = None
        self._earlier_s = 0.0
        self._seen_s = 0.0

    def start(self) -> None:
        """Returns at once; call it from the main thread, whose end the process would follow."""
        self._earlier_s, self._seen_s = self.cpu_s, 0.0
        with self.log.open("ab") as log:
            self._running = subprocess.Popen(
                self._words,
                cwd=self._folder,
                env={**os.environ, **ENVIRONMENT},
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
                preexec_fn=_end_with_parent,
            )

    @property
    def pid(self) -> int:
        assert self._running is not None
        return self._running.pid

    @property
    def code(self) -> int | None:
        """Its exit code (negative: the signal that killed it); None while it runs."""
        return None if self._running is None else self._running.poll()

    @property
    def cpu_s(self) -> float:
        """Processor time so far, of earlier starts too, as seen by `measure`."""
        return self._earlier_s + self._seen_s

    def measure(self) -> None:
        """Looks how much processor time it has had (proc(5), fields 14 and 15 of stat)."""
        with contextlib.suppress(OSError, IndexError):
            stat = Path(f"/proc/{self.pid}/stat").read_text(encoding="ascii", errors="replace")
            ticks = stat.rpartition(")")[2].split()[11:13]
            self._seen_s = sum(map(int, ticks)) / os.sysconf("SC_CLK_TCK")

    def await_ready(self, ready: Callable[[], bool]) -> None:
        """Until `ready`. Raises ProcessFault with its last words where it ends before."""
        until = time.monotonic() + START_S_MAX
        while not ready() or self.code is not None:
            if self.code is not None:
                raise ProcessFault(self.last_words())
            if time.monotonic() > until:
                raise ProcessFault(f"{self.name} was not ready in {START_S_MAX:.0f} s; {self._at}")
            time.sleep(LOOK_S)

    def await_words(self, words: str) -> None:
        """Until it has written this to its log; as `await_ready`."""
        self.await_ready(lambda: words in self._said())

    def _said(self) -> str:
        return self.log.read_text(encoding="utf-8", errors="replace")

    def last_words(self) -> str:
        """That it ended, how, and the last line it wrote."""
        lines = self._said().splitlines()
        said = next((line.strip() for line in reversed(lines) if line.strip()), "nothing")
        return f"{self.name} has ended (exit code {self.code}): {said[:300]}; {self._at}"

    @property
    def _at(self) -> str:
        return f"see {self.log}"

    def ask_to_end(self) -> None:
        """Lets it end in its own order."""
        self._signal(signal.SIGTERM)

    def kill(self) -> None:
        """As a power cut would."""
        self._signal(signal.SIGKILL)

    def _signal(self, number: signal.Signals) -> None:
        if self._running is not None and self.code is None:
            self.measure()
            with contextlib.suppress(ProcessLookupError):
                self._running.send_signal(number)

    def await_end(self, timeout_s: float = END_S_MAX) -> None:
        """Until it has ended; kills what does not."""
        if self._running is None:
            return
        try:
            self._running.wait(timeout_s)
        except subprocess.TimeoutExpired:
            self.kill()
            self._running.wait()


def _end_with_parent() -> None:
    """In the child before it becomes the program."""
    _libc.prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)


def python(*words: str) -> list[str]:
    """A command line of a module of ours; -P: no folder of data can stand in for a package."""
    return [sys.executable, "-P", "-m", *words]


def free_port() -> int:
    """A TCP port of the loopback address that nobody held a moment ago."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        port: int = probe.getsockname()[1]
        return port


def answers(port: int) -> bool:
    """Whether something listens on this port of the loopback address."""
    with contextlib.suppress(OSError), socket.create_connection((LOOPBACK, port), timeout=0.2):
        return True
    return False
