"""Broker and gateway as deploy/ sets them up, in a test's folder: other paths, port and user."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import GATEWAY_SITE, HistoryFault, RefusedPayload, SecurityEvent
from tests.broker import Broker
from tests.deploy.authority import Authority
from tests.house.measures import TOP

LISTENER = "listener 8883\n"
INSTALLED = "/etc/seafret/broker/"
WAIT_S = 30.0
LOOK_S = 0.05


class DeployedBroker(Broker):
    """Mosquitto with deploy/broker/mosquitto.conf and its access rules."""

    def __init__(self, folder: Path, authority: Authority) -> None:
        super().__init__(folder)
        shutil.copy(TOP / "deploy/broker/acl", folder / "acl")
        self.give(authority)

    def give(self, authority: Authority) -> None:
        """Bring the broker its newest certificate and the list of the revoked."""
        current = self.folder / "current"
        shutil.rmtree(current, ignore_errors=True)
        shutil.copytree(authority.pair("broker"), current)
        shutil.copy(authority.revoked, self.folder / "crl.pem")

    def _settings_file(self) -> Path:
        text = (TOP / "deploy/broker/mosquitto.conf").read_text(encoding="utf-8")
        assert text.count(LISTENER) == 1 and INSTALLED in text
        text = text.replace(LISTENER, f"listener {self.port} {self.host}\n")
        if os.geteuid() == 0:
            text += "user root\n"  # else it would become a user who may not read a test's folder
        path = self.folder / "mosquitto.conf"
        path.write_text(text.replace(INSTALLED, f"{self.folder}/"), encoding="utf-8")
        return path


SETTINGS = """
data = "history"
[broker]
host = "localhost"
port = {broker}
log_command = ["tail", "-n", "+1", "-F", "{log}"]
[broker.tls]
ca = "{pair}/ca.pem"
cert = "{pair}/cert.pem"
key = "{pair}/key.pem"
[console]
port = {console}
[watch]
certificates = ["{revoked}"]
[sites.gannet-head]
[sites.north-head]
"""


class DeployedGateway:
    """`seafret serve` in a process of its own, and what it keeps."""

    def __init__(
        self, folder: Path, broker: Broker, authority: Authority, console: int, more: str = ""
    ) -> None:
        """more: further lines of settings."""
        self._settings = folder / "gateway.toml"
        self._settings.write_text(
            SETTINGS.format(
                broker=broker.port,
                log=broker.log,
                pair=authority.pair("seafret-gateway"),
                revoked=authority.revoked,
                console=console,
            )
            + more,
            encoding="utf-8",
        )
        self._history = SqliteHistory(folder / "history")
        self._process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        """Returns when it says that it is ready."""
        self._process = subprocess.Popen(
            [sys.executable, "-m", "gateway", "serve", "--settings", str(self._settings)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            cwd=TOP,
        )
        assert self._process.stdout is not None
        assert self._process.stdout.readline().startswith("gateway ready"), "it did not start"

    def stop(self) -> int:
        """Its exit code."""
        assert self._process is not None
        self._process.send_signal(signal.SIGTERM)
        code = self._process.wait(WAIT_S)
        self.end()
        return code

    def end(self) -> None:
        """Ended at once, where it still runs."""
        if self._process is not None and self._process.stdout is not None:
            self._process.kill()
            self._process.wait(WAIT_S)
            self._process.stdout.close()

    def events(self) -> list[SecurityEvent]:
        """The security events kept, of messages that named no site and of each site."""
        found: list[SecurityEvent] = []
        for site in (GATEWAY_SITE, *self._history.sites()):
            reader = self._history.reader(site)
            try:
                found += reader.security_events()
            finally:
                reader.close()
        return found

    def refusals(self) -> list[RefusedPayload]:
        reader = self._history.reader(GATEWAY_SITE)
        try:
            return reader.refusals()
        finally:
            reader.close()

    def bodies(self, unit: str) -> list[bytes]:
        """Every stored line of a unit, stream by stream in order."""
        try:
            reader = self._history.reader(unit.partition(".")[0])
        except HistoryFault:
            return []
        try:
            keys = [key for key in reader.marks() if key.unit == unit]
            return [line.body for key in sorted(keys) for line in reader.lines(key)]
        finally:
            reader.close()

    def raw(self, unit: str) -> list[bytes]:
        """Messages kept whole, unread."""
        reader = self._history.reader(unit.partition(".")[0])
        try:
            return [one.payload for one in reader.raw_messages() if one.key.unit == unit]
        finally:
            reader.close()


def until(found: Callable[[], bool], what: str) -> None:
    """Waits for what another process does."""
    pause = threading.Event()
    for _ in range(round(WAIT_S / LOOK_S)):
        if found():
            return
        pause.wait(LOOK_S)
    raise AssertionError(f"{what}: not within {WAIT_S:.0f} s")
