"""What waits for the thread that owns the durable file: requests first, then signal in order."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from typing import Generic, TypeVar

from edge.samples import SampleBlock, SourceItem

BUFFER_S = 20.0
"""So much signal may wait while the disk is slow; then the source waits, and its own buffers."""

PUT_WAIT_S = 0.5
"""A full inbox lets the source's thread show that it lives this often."""

Request = TypeVar("Request")


class Inbox(Generic[Request]):
    """Two queues under one lock. `put_request` never blocks; `put_item` does while full."""

    def __init__(self, rate_hz: float) -> None:
        self._rows_max = round(BUFFER_S * rate_hz)
        self._rows = 0
        self._items: deque[SourceItem | Request] = deque()
        self._requests: deque[Request] = deque()
        self._changed = threading.Condition()

    def put_request(self, request: Request) -> None:
        """From any thread."""
        with self._changed:
            self._requests.append(request)
            self._changed.notify_all()

    def put_item(self, item: SourceItem, given_up: Callable[[], bool]) -> bool:
        """From the source's thread; False where `given_up` said so while there was no room."""
        with self._changed:
            while self._items and self._rows + _rows(item) > self._rows_max:
                if given_up():
                    return False
                self._changed.wait(PUT_WAIT_S)
            self._items.append(item)
            self._rows += _rows(item)
            self._changed.notify_all()
        return True

    def put_after_items(self, request: Request) -> None:
        """From the source's thread: to be taken once every item before it has been."""
        with self._changed:
            self._items.append(request)
            self._changed.notify_all()

    def take(self, timeout_s: float) -> Request | SourceItem | None:
        """The next request, else the next item; None where nothing comes in time."""
        with self._changed:
            if not self._requests and not self._items:
                self._changed.wait(timeout_s)
            if self._requests:
                return self._requests.popleft()
            if not self._items:
                return None
            item = self._items.popleft()
            self._rows -= _rows(item)
            self._changed.notify_all()
            return item


def _rows(item: object) -> int:
    return len(item.samples) if isinstance(item, SampleBlock) else 0
