"""Threads that are really killed, or really hang, and what the service manager hears of it."""

from __future__ import annotations

import ctypes
import os
import signal
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from edge.clock import Clock
from edge.daemon.faults import ThreadSilent
from edge.daemon.running import Daemon
from edge.sense.recordings import open_recordings
from tests.broker import Broker
from tests.edge.daemon.builders import RECORDED, daemon_in, settings_text, write_recording
from tests.edge.daemon.launching import await_line, ended, launched
from tests.edge.daemon.test_unplugged import line_of, settings_in
from tests.edge.sense.link_builders import Terminal

NOBODYS_PORT = 1
"""Nothing listens there, and no outgoing connection can take it by chance."""

NOTICED_S = 30.0
"""A thread's death is noticed within this time."""


class Killed(Exception):
    """Raised inside a thread from outside, wherever it happens to be."""


def kill(name: str) -> None:
    """Raise `Killed` in the running thread of that name."""
    (ident,) = [thread.ident for thread in threading.enumerate() if thread.name == name]
    hit = ctypes.pythonapi.PyThreadState_SetAsyncExc(
        ctypes.c_ulong(ident or 0), ctypes.py_object(Killed)
    )
    assert hit == 1


@contextmanager
def running(folder: Path, broker_port: int = NOBODYS_PORT) -> Iterator[Daemon]:
    """A daemon that plays its recording as time passes, in real time."""
    write_recording(folder, 150.0)
    real_us = Clock().utc_us()
    # A second off, so that it is not the machine's own clock, which would play at once.
    clock = Clock(1.0, real_us, real_us + 1_000_000)
    daemon = daemon_in(folder, settings_text(RECORDED, broker_port), clock=clock)
    try:
        daemon.start()
        yield daemon
    finally:
        daemon.stop()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
@pytest.mark.parametrize("name", ["keeper", "source", "uplink"])
def test_a_thread_that_is_killed_ends_the_daemon_within_thirty_seconds(
    tmp_path: Path, broker: Broker, name: str
) -> None:
    with running(tmp_path, broker.port) as daemon:
        uplink = daemon._uplink
        assert uplink is not None and uplink.connected.wait(30)
        before_s = time.monotonic()
        kill(name)
        with pytest.raises(Killed):
            daemon.wait()
        assert time.monotonic() - before_s < NOTICED_S
    if uplink._link is not None:
        uplink._link.abandon()  # what a thread that was killed could not close itself


@pytest.mark.long
def test_threads_that_wait_for_each_other_end_the_daemon_within_thirty_seconds(
    tmp_path: Path,
) -> None:
    """The inbox is held for ever, as by a deadlock: whoever needs it stands still."""
    with running(tmp_path) as daemon:
        before_s = time.monotonic()
        with daemon._inbox._changed, pytest.raises(ThreadSilent, match=r"keeper|source"):
            daemon.wait()
        assert time.monotonic() - before_s < NOTICED_S


@contextmanager
def service_manager(path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    """The socket on which a service manager listens, for processes started in the block."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(path))
        manager.settimeout(60.0)
        monkeypatch.setenv("NOTIFY_SOCKET", str(path))
        yield manager


def until(manager: socket.socket, word: bytes) -> list[bytes]:
    """What is heard up to and with a word."""
    heard: list[bytes] = []
    while not heard or heard[-1] != word:
        heard.append(manager.recv(200))
    return heard


def drained(manager: socket.socket) -> int:
    """Messages that wait already."""
    manager.setblocking(False)
    count = 0
    try:
        while manager.recv(200):
            count += 1
    except BlockingIOError:
        manager.settimeout(60.0)
    return count


def test_the_service_manager_hears_readiness_life_a_standstill_and_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recordings = open_recordings(write_recording(tmp_path, 40))
    terminal = Terminal(tmp_path / "port")
    with (
        service_manager(tmp_path / "notify", monkeypatch) as manager,
        launched(settings_in(tmp_path)) as daemon,
    ):
        terminal.send(line_of(recordings, 0, 40))
        assert until(manager, b"READY=1") == [b"READY=1"]
        assert until(manager, b"WATCHDOG=1") == [b"WATCHDOG=1"]
        await_line(daemon, "arcing old-post in")
        terminal.wait()
        assert until(manager, b"WATCHDOG=1")

        daemon.send_signal(signal.SIGSTOP)
        os.waitid(os.P_PID, daemon.pid, os.WSTOPPED)
        drained(manager)
        manager.settimeout(2.0)  # the watchdog is fed five times a second else
        with pytest.raises(TimeoutError):
            manager.recv(200)
        manager.settimeout(60.0)
        daemon.send_signal(signal.SIGCONT)
        assert until(manager, b"WATCHDOG=1")

        daemon.send_signal(signal.SIGTERM)
        assert until(manager, b"STOPPING=1")[-1] == b"STOPPING=1"
        assert ended(daemon)[0] == 0
        drained(manager)
    terminal.unplug()
