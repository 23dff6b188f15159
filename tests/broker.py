"""A real MQTT broker on a free loopback port, for tests that speak to one."""

from __future__ import annotations

import os
import pwd
import queue
import shutil
import socket
import subprocess
import threading
from collections.abc import Sequence
from pathlib import Path

SEARCH_PATH = os.pathsep.join((os.environ.get("PATH", os.defpath), "/usr/local/sbin", "/usr/sbin"))

START_S_MAX = 20.0
"""A broker that has not said that it is running by then fails the test."""

PORT_TRIES = 5
"""Another program can take a port between our finding it and the broker's: try the next."""

READY = " running"


def free_port() -> int:
    """A TCP port of the loopback address that nobody held a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class Broker:
    """One mosquitto. Started and stopped by the test, as often as it likes, on the same port.

    folder: holds the settings file, the broker's log and its data. extra: further lines of settings
    (the listener is always 127.0.0.1 on `port`; anonymous clients are let in unless extra says
    otherwise). tells_all: every packet is logged; else only what the broker itself comes to.
    """

    host = "127.0.0.1"

    def __init__(self, folder: Path, extra: Sequence[str] = (), *, tells_all: bool = True) -> None:
        self.folder = folder
        self.log = folder / "mosquitto.log"
        self.port = 0
        self._extra = tuple(extra)
        self._tells_all = tells_all
        self._process: subprocess.Popen[str] | None = None
        self._reader: threading.Thread | None = None

    def start(self) -> None:
        """Returns once the broker says that it is running. The first start chooses the port."""
        assert self._process is None, "this broker is already running"
        chosen = self.port
        for _ in range(1 if chosen else PORT_TRIES):
            self.port = chosen or free_port()
            if self._launch():
                return
        said = self.log.read_text(encoding="utf-8")
        raise AssertionError(f"mosquitto did not start on port {self.port}; it said:\n{said}")

    def stop(self, *, kill: bool = False) -> None:
        """Ends the broker if it runs; with `kill` as a power cut would."""
        if self._process is None:
            return
        (self._process.kill if kill else self._process.terminate)()
        self._collect()

    def _launch(self) -> bool:
        self._process = subprocess.Popen(
            [executable(), "-c", str(self._settings_file()), *(["-v"] if self._tells_all else [])],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            errors="backslashreplace",  # with a damaged memory it prints what is no UTF-8
        )
        spoken: queue.SimpleQueue[bool] = queue.SimpleQueue()
        self._reader = threading.Thread(target=self._keep_log, args=(spoken,), daemon=True)
        self._reader.start()
        try:
            if spoken.get(timeout=START_S_MAX):
                return True
        except queue.Empty:
            self._process.kill()
        self._collect()
        return False

    def _keep_log(self, spoken: queue.SimpleQueue[bool]) -> None:
        """Copies what the broker says into its log; tells whether it came to run, or ended."""
        assert self._process is not None and self._process.stderr is not None
        with self.log.open("a", encoding="utf-8") as log:
            for line in self._process.stderr:
                log.write(line)
                log.flush()
                if line.rstrip().endswith(READY):
                    spoken.put(True)
        spoken.put(False)

    def _collect(self) -> None:
        assert self._process is not None and self._reader is not None
        self._process.wait(timeout=START_S_MAX)
        self._reader.join(timeout=START_S_MAX)
        assert self._process.stderr is not None
        self._process.stderr.close()
        self._process = None

    def _settings_file(self) -> Path:
        logged = "all" if self._tells_all else "information"
        lines = [f"listener {self.port} {self.host}", "log_dest stderr", f"log_type {logged}"]
        if not any(line.startswith("allow_anonymous") for line in self._extra):
            lines.append("allow_anonymous true")
        if os.geteuid() == 0:
            # Else it would become the user `mosquitto`, who may not read a test's folder.
            lines.append(f"user {pwd.getpwuid(0).pw_name}")
        path = self.folder / "mosquitto.conf"
        path.write_text("\n".join([*lines, *self._extra]) + "\n", encoding="utf-8")
        return path


def executable() -> str:
    """Path of mosquitto. Fails, never skips, where it is missing."""
    found = shutil.which("mosquitto", path=SEARCH_PATH)
    assert found, "mosquitto is not installed; tests/run.sh says or does what is needed"
    return found
