"""What changed, told to every open page: one stream of server-sent events a tab.

An event says only which parts of the console have something new; the page then asks for what it
shows. Changes that come close together are told as one, so a storm of commits costs a page no more
than a few requests a second. Numbers rise; a page that comes back names the last one it had and is
told what it missed, or that it must look at everything anew.
"""

from __future__ import annotations

import asyncio
import json
import secrets
import threading
from collections import deque
from collections.abc import AsyncIterator, Callable, Iterable
from dataclasses import dataclass

GATHER_S = 0.15
"""Changes within this are told together; a page knows of a commit well within a second."""

BEAT_S = 10.0
"""So often a quiet stream says that the gateway lives and what its time is; a page that hears
nothing for three of them says that it is not live."""

RING_MAX = 500
"""So many events are remembered for pages that come back; to an older one all is told to be new."""

READERS_MAX = 300
"""More open streams are refused; each page then says that it is not live."""

RETRY_MS = 1500
"""What a browser waits before it comes back."""


@dataclass(frozen=True, slots=True)
class Told:
    """topics: parts with something new, by word: `site:<name>`, `alarms`, `gateway`."""

    number: int
    topics: tuple[str, ...]


class Feed:
    """`touch` may be called from any thread and returns at once; `listen` runs in the server."""

    def __init__(self) -> None:
        self._boot = secrets.token_hex(4)
        self._one_at_a_time = threading.Lock()
        self._ring: deque[Told] = deque(maxlen=RING_MAX)
        self._number = 0
        self._forgotten = 0
        self._fresh: set[str] = set()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._waiting: set[asyncio.Event] = set()
        self._closed = False

    @property
    def number(self) -> int:
        """Rises with every change that was touched; what is rendered from one number stays true
        until the next."""
        return self._number

    @property
    def readers(self) -> int:
        """Open streams."""
        return len(self._waiting)

    def touch(self, topics: Iterable[str]) -> None:
        """These parts have something new."""
        with self._one_at_a_time:
            first = not self._fresh
            self._fresh.update(topics)
            self._number += 1
            loop = self._loop
        if first and loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(loop.call_later, GATHER_S, self._tell)

    def close(self) -> None:
        """Ends every stream."""
        self._closed = True
        loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self._wake)

    def _tell(self) -> None:
        with self._one_at_a_time:
            if self._fresh:
                if len(self._ring) == RING_MAX:
                    self._forgotten = self._ring[0].number
                self._ring.append(Told(self._number, tuple(sorted(self._fresh))))
                self._fresh.clear()
        self._wake()

    def _wake(self) -> None:
        for one in self._waiting:
            one.set()

    async def listen(
        self, last_id: str, now_us: Callable[[], int], allowed: Callable[[], bool]
    ) -> AsyncIterator[bytes]:
        """The stream of one page. last_id: what it had, "" for nothing. allowed: whether it may
        still listen."""
        self._loop = asyncio.get_running_loop()
        mine = asyncio.Event()
        self._waiting.add(mine)
        try:
            self._tell()
            number, first = self._greeting(last_id, now_us())
            yield first
            while not self._closed and allowed():
                mine.clear()
                number, news = self._since(number)
                if news:
                    yield news
                elif not await _comes(mine):
                    yield _event("beat", {"now_us": now_us()})
        finally:
            self._waiting.discard(mine)

    def _greeting(self, last_id: str, now_us: int) -> tuple[int, bytes]:
        """(where to go on, first event): `hello` where nothing was missed or all of it will be
        told, `anew` where the page must ask for everything."""
        boot, _, had = last_id.partition(".")
        known = boot == self._boot and had.isascii() and had.isdecimal() and len(had) < 16
        number = int(had) if known else self._number
        whole = known and self._forgotten <= number <= self._number
        missed = bool(last_id) and not whole
        kind, number = ("anew", self._number) if missed else ("hello", number)
        head = f"retry: {RETRY_MS}\n".encode()
        return number, head + _event(kind, {"now_us": now_us}, self._id(number))

    def _since(self, number: int) -> tuple[int, bytes]:
        with self._one_at_a_time:
            missed = [one for one in self._ring if one.number > number]
        if not missed:
            return number, b""
        topics = sorted({topic for one in missed for topic in one.topics})
        last = missed[-1].number
        return last, _event("change", {"topics": topics}, self._id(last))

    def _id(self, number: int) -> str:
        return f"{self._boot}.{number}"


async def _comes(event: asyncio.Event) -> bool:
    """Whether it came before the next beat was due."""
    try:
        await asyncio.wait_for(event.wait(), BEAT_S)
    except TimeoutError:
        return False
    return True


def _event(kind: str, told: dict[str, object], name: str = "") -> bytes:
    """A beat has no id, so that the browser goes on naming the last event that had one."""
    line = f"id: {name}\n" if name else ""
    return f"{line}event: {kind}\ndata: {json.dumps(told, separators=(',', ':'))}\n\n".encode()
