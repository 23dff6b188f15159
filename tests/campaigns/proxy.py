"""A TCP link that a campaign spoils: cut, half-open, trickling, refusing. One thread."""

from __future__ import annotations

import selectors
import socket
import struct
import threading
import time
from enum import StrEnum

TURN_S = 0.05
CHUNK_BYTES = 16 * 1024
TRICKLE_BYTES = 60
"""Bytes of each direction in a turn while the link trickles: 1.2 kB/s."""


class Mode(StrEnum):
    """What the link does."""

    PASS = "pass"
    CUT = "cut"  # connections are reset; new ones pass
    HALF_OPEN = "half-open"  # connections stay, nothing goes through, no one is told
    TRICKLE = "trickle"
    REFUSE = "refuse"  # connections are reset; new ones are closed at once


class Link:
    """Use as a context. port: where it listens; everything goes to `to_port`."""

    def __init__(self, to_port: int) -> None:
        self._to_port = to_port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.setblocking(False)
        self.port: int = self._listener.getsockname()[1]
        self._mode = Mode.PASS
        self._pairs: dict[socket.socket, socket.socket] = {}
        self._ending = threading.Event()
        self._changed = threading.Lock()
        self._thread = threading.Thread(target=self._run, name="link")
        self.passed_bytes, self.accepted = 0, 0

    def __enter__(self) -> Link:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ending.set()
        self._thread.join()
        self._reset_all()
        self._listener.close()

    def set(self, mode: Mode) -> None:
        """From now on."""
        with self._changed:
            self._mode = mode
            if mode in (Mode.CUT, Mode.REFUSE):
                self._reset_all()

    def _run(self) -> None:
        while not self._ending.is_set():
            with self._changed:
                self._turn()
            if self._mode is not Mode.PASS:
                time.sleep(TURN_S)

    def _turn(self) -> None:
        with selectors.DefaultSelector() as selector:
            selector.register(self._listener, selectors.EVENT_READ)
            for end in self._pairs:
                selector.register(end, selectors.EVENT_READ)
            ready = [key.fileobj for key, _ in selector.select(TURN_S / 5)]
        if self._listener in ready:
            self._accept()
        for end in ready:
            if self._mode is not Mode.HALF_OPEN and end in self._pairs:
                assert isinstance(end, socket.socket)
                self._forward(end)

    def _accept(self) -> None:
        unit, _ = self._listener.accept()
        self.accepted += 1
        if self._mode is Mode.REFUSE:
            _reset(unit)
            return
        try:
            broker = socket.create_connection(("127.0.0.1", self._to_port), timeout=1)
        except OSError:
            _reset(unit)
            return
        for end in (unit, broker):
            end.settimeout(1)
        self._pairs |= {unit: broker, broker: unit}

    def _forward(self, end: socket.socket) -> None:
        limit = TRICKLE_BYTES if self._mode is Mode.TRICKLE else CHUNK_BYTES
        try:
            content = end.recv(limit)
            self._pairs[end].sendall(content)
        except OSError:
            content = b""
        self.passed_bytes += len(content)
        if not content:
            other = self._pairs.pop(end)
            self._pairs.pop(other)
            _reset(end)
            _reset(other)

    def _reset_all(self) -> None:
        for end in self._pairs:
            _reset(end)
        self._pairs.clear()


def _reset(end: socket.socket) -> None:
    end.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    end.close()
