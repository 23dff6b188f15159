"""What feeds the watchdog, what ends the daemon, and what it goes on from."""

from __future__ import annotations

import socket
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from edge.daemon.inbox import BUFFER_S, Inbox
from edge.daemon.supervision import (
    COMMIT_NS_MAX,
    SAMPLES_NS_MAX,
    THREAD_NS_MAX,
    Pulse,
    deserves_feeding,
    notify,
    silent_thread,
)
from edge.samples import SampleBlock

NOW_NS = 10**12
ALIVE = Pulse(
    source_ns=NOW_NS,
    keeper_ns=NOW_NS,
    committed_ns=NOW_NS,
    samples_ns=NOW_NS,
    uplink_ns=NOW_NS,
    silence="",
    over=False,
)


def test_a_living_daemon_feeds_its_watchdog() -> None:
    assert deserves_feeding(ALIVE, NOW_NS) and not silent_thread(ALIVE, NOW_NS)
    assert deserves_feeding(replace(ALIVE, uplink_ns=None), NOW_NS)


@pytest.mark.parametrize("name", ["source", "keeper", "uplink"])
def test_a_thread_without_life_is_noticed_within_thirty_seconds(name: str) -> None:
    still = replace(ALIVE, **{f"{name}_ns": NOW_NS - THREAD_NS_MAX - 1})
    assert silent_thread(still, NOW_NS) == name and not deserves_feeding(still, NOW_NS)
    assert THREAD_NS_MAX <= 29_000_000_000


def test_the_watchdog_starves_without_samples_unless_the_source_says_why() -> None:
    silent = replace(ALIVE, samples_ns=NOW_NS - SAMPLES_NS_MAX)
    assert not deserves_feeding(silent, NOW_NS)
    assert deserves_feeding(replace(silent, silence="/dev/unit went away"), NOW_NS)
    assert deserves_feeding(replace(silent, over=True, source_ns=0), NOW_NS)


def test_the_watchdog_starves_where_no_commit_succeeds() -> None:
    assert not deserves_feeding(replace(ALIVE, committed_ns=NOW_NS - COMMIT_NS_MAX), NOW_NS)


def test_the_service_manager_hears_what_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    notify("READY=1")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        notify("WATCHDOG=1")
        assert manager.recv(99) == b"WATCHDOG=1"


def test_a_service_manager_that_takes_nothing_holds_nobody_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        for _ in range(1_000):
            if caplog.records:
                break
            notify("WATCHDOG=1")
    assert "WATCHDOG=1 was not told" in caplog.text


def block(counter: int, rows: int) -> SampleBlock:
    return SampleBlock(counter, np.zeros((rows, 1), np.int16))


def test_requests_overtake_the_signal_but_not_each_other() -> None:
    inbox: Inbox[str] = Inbox(100.0)
    first, second = block(0, 10), block(10, 10)
    assert inbox.put_item(first, lambda: False) and inbox.put_item(second, lambda: False)
    inbox.put_after_items("over")
    inbox.put_request("fetch")
    inbox.put_request("release")
    taken = [inbox.take(0.0) for _ in range(6)]
    assert taken == ["fetch", "release", first, second, "over", None]


def test_a_full_inbox_holds_the_source_until_there_is_room_or_it_is_told_to_stop() -> None:
    inbox: Inbox[str] = Inbox(100.0)
    full = round(BUFFER_S * 100)
    assert inbox.put_item(block(0, full), lambda: False)
    assert not inbox.put_item(block(full, 1), lambda: True)
    waits = threading.Event()
    put = threading.Thread(target=lambda: inbox.put_item(block(full, 1), lambda: bool(waits.set())))
    put.start()
    assert waits.wait(10)
    assert isinstance(inbox.take(0.0), SampleBlock)
    put.join(10)
    late = inbox.take(0.0)
    assert isinstance(late, SampleBlock) and late.counter == full
