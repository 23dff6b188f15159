"""Security events that come from elsewhere than a message: gathered, bounded, one a minute each.

Whoever is refused can go on trying for as long as they like, so what is written of it must not grow
with their patience: the first of a (unit, event) is told at once, further ones once a minute with
their number.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from dataclasses import dataclass, replace

from gateway.history.store import SecurityEvent
from gateway.ingest.refusals import clean

REPEAT_US = 60_000_000
"""Further events of a kind are told together this long after the last telling."""

KINDS_MAX = 1000
"""Kinds (unit, event) that are remembered; what comes beyond is told as of no unit."""


@dataclass(slots=True)
class _Kind:
    """waiting: not told yet, with its number. told_us: when the last one was told."""

    waiting: SecurityEvent | None = None
    told_us: int | None = None

    def rests(self, now_us: int) -> bool:
        """A clock that went back ends the rest: telling twice is better than never."""
        return self.told_us is not None and 0 <= now_us - self.told_us < REPEAT_US


class Notices:
    """Filled from any thread, emptied by the ingest. Times are UTC microseconds."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._kinds: dict[tuple[str, str], _Kind] = {}

    def put(self, event: SecurityEvent) -> None:
        """Remembers an event until it is due."""
        event = replace(event, detail=clean(event.detail))
        with self._lock:
            if (event.unit, event.event) not in self._kinds and len(self._kinds) >= KINDS_MAX:
                event = replace(event, unit="")
            kind = self._kinds.setdefault((event.unit, event.event), _Kind())
            held = kind.waiting
            kind.waiting = event if held is None else replace(held, count=held.count + event.count)

    def due(self, now_us: int) -> tuple[SecurityEvent, ...]:
        """What is to be told now."""
        with self._lock:
            for name in [n for n, k in self._kinds.items() if not (k.waiting or k.rests(now_us))]:
                del self._kinds[name]
            found = [kind for kind in self._kinds.values() if not kind.rests(now_us)]
        return tuple(kind.waiting for kind in found if kind.waiting is not None)

    def told(self, events: Iterable[SecurityEvent], now_us: int) -> None:
        """These are durable; what came meanwhile waits on."""
        with self._lock:
            for event in events:
                kind = self._kinds[event.unit, event.event]
                more = 0 if kind.waiting is None else kind.waiting.count - event.count
                kind.waiting = replace(event, count=more) if more > 0 else None
                kind.told_us = now_us
