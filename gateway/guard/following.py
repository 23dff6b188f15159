"""The thread that follows the broker's log: a command's lines in, security events out.

The command is the installer's (`journalctl --follow` or `tail -F`); it is started anew when it
ends. Nobody waits for this thread, and it holds one line at a time.
"""

from __future__ import annotations

import logging
import subprocess
import threading
from collections.abc import Callable, Iterator, Sequence
from typing import IO

from gateway.guard import broker_log
from gateway.guard.broker_log import LINE_MAX, Denial, Reading

log = logging.getLogger("seafret.guard")

RESTART_S = (1.0, 60.0)
"""First and longest wait before the command is started anew."""

END_S_MAX = 5.0
"""A command that does not end within this time after being told to is killed."""


class LogFollower:
    """on_denial: told of every denial later than `after_s`. on_loss: why no lines come any more."""

    def __init__(
        self,
        command: Sequence[str],
        own: frozenset[str],
        after_s: int,
        on_denial: Callable[[Denial], None],
        on_loss: Callable[[str], None],
    ) -> None:
        self._command, self._after_s = tuple(command), after_s
        self._on_denial, self._on_loss = on_denial, on_loss
        self._reading = Reading(own)
        self._asked_to_stop = threading.Event()
        self._process: subprocess.Popen[str] | None = None
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._run, name="broker-log", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self) -> None:
        """Ends the command and the thread."""
        self._asked_to_stop.set()
        with self._lock:
            if self._process is not None:
                self._process.terminate()
        if self._thread.ident is not None:
            self._thread.join(END_S_MAX)

    def _run(self) -> None:
        wait_s, longest_s = RESTART_S
        while not self._asked_to_stop.is_set():
            why = self._follow()
            if self._asked_to_stop.wait(wait_s):
                return
            self._on_loss(why)
            wait_s = min(2 * wait_s, longest_s)

    def _follow(self) -> str:
        """Until the command ends; why it did."""
        try:
            process = self._launch()
        except OSError as fault:
            return f"{self._command[0]}: {fault.strerror}"
        if process is None:
            return ""
        assert process.stdout is not None
        with process, process.stdout as lines:
            for line in whole_lines(lines):
                self._take(line)
        return f"{self._command[0]} ended with exit code {process.returncode}"

    def _launch(self) -> subprocess.Popen[str] | None:
        with self._lock:
            if self._asked_to_stop.is_set():
                return None
            self._process = subprocess.Popen(
                self._command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=None,  # into the gateway's own log, where its reason belongs
                text=True,
                encoding="utf-8",
                errors="replace",
            )
            return self._process

    def _take(self, line: str) -> None:
        self._reading, denial = broker_log.step(self._reading, line)
        if denial is None or (denial.at_s is not None and denial.at_s <= self._after_s):
            return
        self._on_denial(denial)


def whole_lines(stream: IO[str]) -> Iterator[str]:
    """Lines of at most LINE_MAX characters; the rest of a longer one is dropped, for it may hold
    what a client wants to be taken for a line of its own."""
    while line := stream.readline(LINE_MAX):
        yield line
        while line and not line.endswith("\n"):
            line = stream.readline(LINE_MAX)
