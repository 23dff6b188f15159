"""The watchdog is fed while the threads come round, and only then."""

from __future__ import annotations

import os
import socket
from pathlib import Path

import pytest

from gateway.guard.service_manager import ROUND_S_MAX, Rounds, hanging, looked, notify


def test_a_thread_that_does_not_come_round_hangs_whatever_the_others_do() -> None:
    rounds = looked(Rounds(), {"ingest": 1, "alarms": 1}, 0.0)
    rounds = looked(rounds, {"ingest": 1, "alarms": 9}, ROUND_S_MAX)
    assert hanging(rounds, ROUND_S_MAX) == ()
    assert hanging(rounds, ROUND_S_MAX + 0.1) == ("ingest",)
    rounds = looked(rounds, {"ingest": 2, "alarms": 9}, ROUND_S_MAX + 0.2)
    assert hanging(rounds, ROUND_S_MAX + 0.2) == ()


@pytest.mark.parametrize("abstract", [False, True])
def test_the_service_manager_hears_what_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, abstract: bool
) -> None:
    name = f"seafret-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(f"\0{name}" if abstract else str(tmp_path / "notify"))
        monkeypatch.setenv("NOTIFY_SOCKET", f"@{name}" if abstract else str(tmp_path / "notify"))
        notify("READY=1")
        assert manager.recv(100) == b"READY=1"


def test_without_a_service_manager_nothing_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    notify("READY=1")
