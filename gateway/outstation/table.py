"""The points of each kind of subject: one table, with places reserved for more.

A subject (the gateway, a site, a unit, an insulator) gets a number once and never another; its
points lie in the block of that number. So an address is told by the table and the number alone, and
one that was ever given out is never given to anything else.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from edge.decide.definitions import Alarm
from gateway.alarms.messages import (
    LIMITS_NOT_IN_FORCE,
    MONITOR_SILENT,
    SITE_ARCING,
    SITE_SILENT,
)
from gateway.outstation.asdu import ADDRESS_MAX, Kind

BLOCK = 32
"""Addresses of one subject; those that the table does not name are reserved."""

NOT_FOR_TRIP = "monitoring only: not for trip, interlock or proof of dead"


class Of(StrEnum):
    """Kinds of subjects."""

    GATEWAY = "gateway"
    SITE = "site"
    UNIT = "unit"
    INSULATOR = "insulator"


BASE: dict[Of, tuple[int, int]] = {
    Of.GATEWAY: (100, 1),
    Of.SITE: (1_000, 3_000),
    Of.UNIT: (100_000, 25_000),
    Of.INSULATOR: (1_000_000, 490_000),
}
"""First address, and how many subjects there may ever be."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A point of a kind of subject. group: of the interrogation, 1 states, 2 measurements, 3
    health. share_ppm, least: a change smaller than both is not sent by itself."""

    place: int
    kind: Kind
    group: int
    name: str
    text: str
    unit: str = ""
    share_ppm: int = 0
    least: float = 0.0


def _state(place: int, name: str, text: str, group: int = 1) -> Slot:
    return Slot(place, Kind.STATE, group, name, text)


def _measured(place: int, name: str, text: str, unit: str, least: float, share: int = 0) -> Slot:
    return Slot(place, Kind.MEASURED, 2, name, text, unit, share, least)


_TEN_PERCENT = 100_000

SLOTS: dict[Of, tuple[Slot, ...]] = {
    Of.GATEWAY: (
        _state(0, "heartbeat", "turns over every minute while the gateway is sound", 3),
        _state(1, "deaf", "the gateway cannot hear its units, or cannot store", 3),
        _state(2, "events-lost", "the event buffer has overflowed since the last interrogation", 3),
        Slot(28, Kind.COUNTER, 3, "heartbeat-count", "minutes since 1970 at the last sound look"),
    ),
    Of.SITE: (
        _state(0, SITE_ARCING, "arcing on many insulators of the site"),
        _state(1, SITE_SILENT, "no monitor of the site is heard"),
        _measured(8, "insulators-arcing", "insulators that arc", "1", 1.0),
        _measured(
            9, "insulators-watched", "insulators with fresh data of a sound sensor", "1", 1.0
        ),
        _measured(10, "insulators-installed", "insulators that should be watched", "1", 1.0),
        _measured(11, "rh", "relative humidity", "%", 2.0),
        _measured(12, "air", "air temperature", "degC", 0.5),
        _measured(13, "wind", "wind speed", "m/s", 1.0),
    ),
    Of.UNIT: (
        _state(0, "letter-F", "monitor: failure", 3),
        _state(1, "letter-C", "monitor: function check", 3),
        _state(2, "letter-S", "monitor: out of specification", 3),
        _state(3, "letter-M", "monitor: maintenance required", 3),
        _state(4, MONITOR_SILENT, "monitor is not heard", 3),
        _state(5, Alarm.CLOCK_UNSYNCHRONISED.value, "monitor's clock is not synchronised", 3),
        _state(6, LIMITS_NOT_IN_FORCE, "approved limits are not in force", 3),
    ),
    Of.INSULATOR: (
        _state(0, Alarm.ARCING.value, "dry-band arcing"),
        _state(1, Alarm.NEAR_MARGIN.value, "arc current near the flashover margin"),
        _state(2, Alarm.FLASHOVER_SUSPECTED.value, "flashover or trip suspected, until reset"),
        _state(3, Alarm.OVER_RANGE.value, "current above the sensor's range"),
        _state(4, Alarm.DRY_AIR_CURRENT.value, "current in dry air"),
        _state(5, Alarm.SENSOR_FAILED.value, "sensor has failed"),
        _measured(8, "rms", "leakage current, r.m.s. of a minute", "mA", 0.05, _TEN_PERCENT),
        _measured(9, "peak", "leakage current, peak of a minute", "mA", 0.5, _TEN_PERCENT),
        _measured(10, "arcing-rate", "arcing half-cycles in a minute", "1", 6.0, _TEN_PERCENT),
        _measured(11, "arc-pulses", "arcing half-cycles above 100 mA in a minute", "1", 1.0),
        Slot(28, Kind.COUNTER, 2, "arcing-total", "arcing half-cycles since the first record"),
    ),
}


def address_of(of: Of, number: int, slot: Slot) -> int:
    """A point's address."""
    first, room = BASE[of]
    assert 0 <= number < room, f"{of} number {number}; there is room for {room}"
    address = first + BLOCK * number + slot.place
    assert address <= ADDRESS_MAX
    return address
