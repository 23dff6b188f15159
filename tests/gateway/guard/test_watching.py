"""The guard of a gateway: what it watches, what it tells, and when it feeds the watchdog."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from gateway.guard.certificates import LOOK_S
from gateway.guard.service_manager import ROUND_S_MAX
from gateway.guard.watching import Guard, told_until_s, watched_files
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import GATEWAY_SITE, Commit, SecurityEvent
from gateway.settings import Settings, read_settings
from tests.deploy.authority import Authority

NOW_US = round(datetime.now(UTC).timestamp() * 1e6)
TEXT = """
data = "history"
[broker]
host = "gateway.gannet.example"
[broker.tls]
ca = "authority/ca.pem"
cert = "authority/issued/seafret-gateway/current/cert.pem"
key = "authority/issued/seafret-gateway/current/key.pem"
[watch]
certificates = ["authority/crl.pem"]
[sites.gannet-head]
"""


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Of a gateway whose own certificate ends in five days."""
    Authority(tmp_path / "authority").run("gateway", "--days", "5")
    (tmp_path / "gateway.toml").write_text(TEXT, encoding="utf-8")
    return read_settings(tmp_path / "gateway.toml")


@contextmanager
def service_manager(path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(path))
        manager.setblocking(False)
        monkeypatch.setenv("NOTIFY_SOCKET", str(path))
        yield manager


def fed(manager: socket.socket) -> int:
    count = 0
    while True:
        try:
            assert manager.recv(100) == b"WATCHDOG=1"
        except BlockingIOError:
            return count
        count += 1


def test_its_own_certificate_the_authoritys_and_the_list_of_the_revoked_are_watched(
    settings: Settings, tmp_path: Path
) -> None:
    folder = tmp_path / "authority"
    pair = folder / "issued/seafret-gateway/current"
    watched = (folder / "ca.pem", pair / "cert.pem", folder / "crl.pem")
    assert watched_files(settings) == watched


def test_an_end_that_comes_near_is_a_security_event_once(settings: Settings) -> None:
    told: list[SecurityEvent] = []
    guard = Guard(settings, 0, lambda: NOW_US, dict, told.append)
    for turn in range(3):
        guard.look(turn * LOOK_S)
    assert [(one.event, one.count) for one in told] == [("certificate-ending", 1)]
    assert "seafret-gateway/current/cert.pem ends on" in told[0].detail


def test_the_watchdog_is_fed_only_while_every_thread_comes_round(
    settings: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rounds = {"ingest": 0, "alarms": 0}
    guard = Guard(settings, 0, lambda: NOW_US, lambda: rounds, lambda event: None)
    with service_manager(tmp_path / "notify", monkeypatch) as manager:
        for second in range(10):
            rounds = {"ingest": second, "alarms": second}
            guard.look(float(second))
        assert fed(manager) == 10
        rounds = {"ingest": 9, "alarms": 99}
        guard.look(9 + ROUND_S_MAX + 1)
        assert fed(manager) == 0
        rounds = {"ingest": 10, "alarms": 99}
        guard.look(9 + ROUND_S_MAX + 2)
        assert fed(manager) == 1


def test_it_goes_on_in_the_log_where_it_had_stopped(tmp_path: Path) -> None:
    history = SqliteHistory(tmp_path)
    writer = history.writer(GATEWAY_SITE)
    events = (
        SecurityEvent(7_000_000, "a.b", "broker-foreign-topic", ""),
        SecurityEvent(5_000_000, "a.b", "broker-malformed", ""),
        SecurityEvent(9_000_000, "a.b", "identity", "not from the log"),
    )
    assert told_until_s(history) == 0
    writer.append(Commit(NOW_US, events=events))
    writer.close()
    assert told_until_s(history) == 7
