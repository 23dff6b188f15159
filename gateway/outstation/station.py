"""The station: what every point says, and the events that a master has not confirmed. Pure.

An event is made when a state turns, a measured value leaves its deadband, a counter moves, or a
quality changes. Events are numbered, kept in order until the master confirms them, and sent again
after a connection was lost.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import islice

from gateway.outstation.asdu import Kind, Quality, Reading
from gateway.outstation.table import Slot

EVENTS_MAX = 100_000
"""More events than this push out the oldest; it is counted, and a point says so. At a storm's pace
of one event a second for each of 12 insulators this is more than two hours."""


@dataclass(frozen=True, slots=True)
class Event:
    """number: 1, 2, ... as long as the gateway runs."""

    number: int
    address: int
    kind: Kind
    reading: Reading


@dataclass(frozen=True, slots=True)
class Station:
    """slots: points by address. told: what each said last. events: not yet confirmed, in order.
    lost: events that were pushed out."""

    slots: Mapping[int, Slot]
    told: Mapping[int, Reading] = field(default_factory=dict)
    events: tuple[Event, ...] = ()
    numbers: int = 0
    lost: int = 0

    def after(self, number: int, limit: int) -> list[Event]:
        """The next unconfirmed events above a number."""
        skip = max(0, number - (self.events[0].number - 1)) if self.events else 0
        return list(islice(self.events, skip, skip + limit))


UNSAID = Reading(0, Quality.INVALID | Quality.NOT_TOPICAL, 0, True)
"""A point about which nothing was ever heard."""


def initial(slots: Mapping[int, Slot]) -> Station:
    """Every point invalid, until something is known of it."""
    return Station(slots, dict.fromkeys(slots, UNSAID))


def observed(station: Station, readings: Iterable[tuple[int, Reading]]) -> Station:
    """After readings, in their order; those of points that are not there are passed over."""
    told, fresh, number = dict(station.told), [], station.numbers
    for address, reading in readings:
        slot = station.slots.get(address)
        if slot is None or not is_news(slot, told[address], reading):
            continue
        number += 1
        told[address] = reading
        fresh.append(Event(number, address, slot.kind, reading))
    if not fresh:
        return station
    events = (*station.events, *fresh)
    over = max(0, len(events) - EVENTS_MAX)
    return replace(
        station, told=told, events=events[over:], numbers=number, lost=station.lost + over
    )


def is_news(slot: Slot, before: Reading, now: Reading) -> bool:
    """Whether a reading is worth an event."""
    if now.quality != before.quality:
        return True
    if slot.kind is not Kind.MEASURED:
        return now.amount != before.amount
    moved = abs(now.amount - before.amount)
    return bool(moved) and (
        moved >= slot.least or moved * 1_000_000 >= slot.share_ppm * abs(before.amount) > 0
    )


def confirmed(station: Station, upto: int) -> Station:
    """After a master has confirmed events up to a number."""
    if not station.events or station.events[0].number > upto:
        return station
    done = upto - station.events[0].number + 1
    return replace(station, events=station.events[done:])


def forgiven(station: Station) -> Station:
    """After an interrogation: the master knows every point again, so lost events are past."""
    return replace(station, lost=0) if station.lost else station


def interrogated(station: Station, group: int | None, kinds: tuple[Kind, ...]) -> Iterator[Event]:
    """Every point of a group (None: all) and of these kinds, each once, in order of type."""
    for kind in kinds:
        for address, slot in sorted(station.slots.items()):
            if slot.kind is kind and group in (None, slot.group):
                yield Event(0, address, kind, station.told[address])
