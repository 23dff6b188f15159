"""The inbox between the broker's client and the ingest: nobody's haste is another one's delay.

Messages wait by unit and are taken in turn, one of each. An honest unit has at most four messages
of a stream without a receipt, so few wait of it; what comes beyond the room of a unit is shed
unread, acknowledged to the broker and never receipted: an honest unit sends it again. A unit that
goes on all the same is closed out until it has been calm for a while.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Mapping
from typing import Generic, TypeVar

UNIT_ROOM = 40
"""Messages of one unit that may wait: twice what its window lets it send without a receipt."""

FLOOD_PER_S = 20.0
"""More shed messages of a unit a second than this are a flood: an honest one that is waiting for a
slow gateway repeats its window after a second at first, and then ever more rarely."""

FLOOD_LOOK_S = 5.0
"""Shed messages are counted over at least so long before they are called a flood."""

SHED_MAX = 100
"""With so many shed between two looks a unit is closed out until a look finds fewer. An honest one
whose gateway could not store for a minute may come to that; it sends all of it again."""

Item = TypeVar("Item")


class FairInbox(Generic[Item]):
    """Filled by the client's thread, emptied by the ingest."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._waiting: dict[str, deque[Item]] = {}
        self._shed: dict[str, int] = {}
        self._closed: set[str] = set()
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def put(self, unit: str, item: Item) -> bool:
        """False where the unit's room is full, or closed: the message is not kept."""
        with self._changed:
            if unit in self._closed or len(self._waiting.get(unit, ())) >= UNIT_ROOM:
                self._count_shed(unit)
                return False
            self._waiting.setdefault(unit, deque()).append(item)
            self._count += 1
            self._changed.notify()
            return True

    def _count_shed(self, unit: str) -> None:
        self._shed[unit] = self._shed.get(unit, 0) + 1
        if self._shed[unit] >= SHED_MAX:
            self._closed.add(unit)

    def take(self, most: int, wait_s: float) -> list[Item]:
        """At most so many, in turn from each unit, each unit's in order; waits for the first."""
        found: list[Item] = []
        with self._changed:
            self._changed.wait_for(lambda: self._count > 0, wait_s)
            row = list(self._waiting)
            while row and len(found) < most:
                row = [unit for unit in row[: most - len(found)] if self._take_one(unit, found)]
        return found

    def _take_one(self, unit: str, found: list[Item]) -> bool:
        """Whether more of the unit waits; its next turn is after the others'."""
        items = self._waiting.pop(unit)
        found.append(items.popleft())
        self._count -= 1
        if items:
            self._waiting[unit] = items
        return bool(items)

    def take_shed(self) -> dict[str, int]:
        """How many messages of each unit were shed since the last call."""
        with self._changed:
            shed, self._shed = self._shed, {}
            self._closed &= {unit for unit, count in shed.items() if count >= SHED_MAX}
        return shed


def flooding(shed: Mapping[str, int], elapsed_s: float) -> dict[str, int]:
    """Of the units whose messages were shed within `elapsed_s`, those that no honest one equals."""
    return {unit: count for unit, count in shed.items() if count >= FLOOD_PER_S * elapsed_s}
