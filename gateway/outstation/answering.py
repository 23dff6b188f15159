"""What a master's data unit is answered with: a table of what it may ask, and nothing else. Pure.

Monitoring only: every command but the two interrogations is refused. The clock is refused too: the
gateway keeps its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import groupby

from gateway.outstation.asdu import (
    ADDRESS_BYTES,
    HEAD_BYTES,
    NEGATIVE,
    TIMED,
    Cause,
    Head,
    Kind,
    head_bytes,
    packed,
    read_head,
    room_for,
)
from gateway.outstation.frames import PeerFault
from gateway.outstation.session import Unit
from gateway.outstation.station import Event, Station, interrogated

STATION_ASKED = 20
"""Qualifier of an interrogation of the whole station; 21 to 36 ask for groups 1 to 16."""

GROUPS = range(21, 37)
COUNTERS_READ = 0
"""The upper two bits of the qualifier of a counter interrogation: 0 reads, 1 freezes, 2 freezes and
resets, 3 resets. Nothing here is ever reset, and a reading goes out with its own time."""

GENERAL_COUNTERS = 5

PLAIN_KINDS = (Kind.STATE, Kind.MEASURED)
COUNTER_KINDS = (Kind.COUNTER,)


def answered(station: Station, common_address: int, asdu: bytes) -> tuple[Unit, ...]:
    """The data units that answer a master's. Raises PeerFault where it is none."""
    head = read_head(asdu)
    refused = _refusal(head, common_address)
    if refused is not None:
        return (_mirrored(head, asdu, refused),)
    head = replace(head, common_address=common_address)  # it may have asked all stations
    return tuple(_ANSWERS[head.kind](station, head, asdu))


def is_interrogation(asdu: bytes) -> bool:
    """Whether it asks for the whole station."""
    return asdu[:1] == bytes((Kind.INTERROGATION,)) and asdu[-1:] == bytes((STATION_ASKED,))


def _refusal(head: Head, common_address: int) -> int | None:
    """The cause that refuses a data unit; None where it is taken."""
    if head.kind not in _ANSWERS:
        return Cause.UNKNOWN_TYPE | NEGATIVE
    if head.cause not in (Cause.ACTIVATION, Cause.DEACTIVATION):
        return Cause.UNKNOWN_CAUSE | NEGATIVE
    if head.common_address not in (common_address, 0xFFFF):
        return Cause.UNKNOWN_COMMON_ADDRESS | NEGATIVE
    if head.number != 1 or len(head.rest) < ADDRESS_BYTES + 1:
        raise PeerFault("an interrogation holds one object with one qualifier")
    if any(head.rest[:ADDRESS_BYTES]):
        return Cause.UNKNOWN_OBJECT | NEGATIVE
    return None


def _mirrored(head: Head, asdu: bytes, cause: int) -> Unit:
    said = head_bytes(head.kind, 1, cause, head.common_address, head.originator)
    return Unit(said + asdu[HEAD_BYTES:])


def _interrogation(station: Station, head: Head, asdu: bytes) -> Iterator[Unit]:
    qualifier = head.rest[ADDRESS_BYTES]
    if head.cause == Cause.DEACTIVATION:
        yield _mirrored(head, asdu, Cause.DEACTIVATION_CON | NEGATIVE)
    elif qualifier != STATION_ASKED and qualifier not in GROUPS:
        yield _mirrored(head, asdu, Cause.ACTIVATION_CON | NEGATIVE)
    else:
        group = None if qualifier == STATION_ASKED else qualifier - STATION_ASKED
        yield from _told(station, head, asdu, group, PLAIN_KINDS, qualifier)


def _counters(station: Station, head: Head, asdu: bytes) -> Iterator[Unit]:
    qualifier = head.rest[ADDRESS_BYTES]
    reads = qualifier >> 6 == COUNTERS_READ and qualifier & 0x3F == GENERAL_COUNTERS
    if head.cause == Cause.DEACTIVATION:
        yield _mirrored(head, asdu, Cause.DEACTIVATION_CON | NEGATIVE)
    elif not reads:
        yield _mirrored(head, asdu, Cause.ACTIVATION_CON | NEGATIVE)
    else:
        yield from _told(station, head, asdu, None, COUNTER_KINDS, Cause.COUNTERS_ASKED)


def _clock(station: Station, head: Head, asdu: bytes) -> Iterator[Unit]:
    yield _mirrored(head, asdu, Cause.ACTIVATION_CON | NEGATIVE)


def _told(
    station: Station,
    head: Head,
    asdu: bytes,
    group: int | None,
    kinds: tuple[Kind, ...],
    cause: int,
) -> Iterator[Unit]:
    yield _mirrored(head, asdu, Cause.ACTIVATION_CON)
    every = list(interrogated(station, group, kinds))
    for kind in kinds:
        objects = [(one.address, one.reading) for one in every if one.kind is kind]
        for octets in packed(kind, cause, head.common_address, objects):
            yield Unit(octets)
    yield _mirrored(head, asdu, Cause.ACTIVATION_END)


_ANSWERS: dict[int, Callable[[Station, Head, bytes], Iterator[Unit]]] = {
    Kind.INTERROGATION: _interrogation,
    Kind.COUNTER_INTERROGATION: _counters,
    Kind.CLOCK: _clock,
}


def spontaneous(events: list[Event], common_address: int) -> tuple[Unit, ...]:
    """Events as data units with time, in their order; neighbours of one type travel together."""
    units: list[Unit] = []
    for kind, found in groupby(events, key=lambda one: one.kind):
        waiting = list(found)
        room = room_for(TIMED[kind])
        for start in range(0, len(waiting), room):
            part = waiting[start : start + room]
            objects = [(one.address, one.reading) for one in part]
            (octets,) = packed(TIMED[kind], Cause.SPONTANEOUS, common_address, objects)
            units.append(Unit(octets, part[-1].number))
    return tuple(units)


def initialised(common_address: int) -> Unit:
    """Told once after a start: the station begins anew, ask for everything."""
    octets = head_bytes(Kind.END_OF_INITIALISATION, 1, Cause.INITIALISED, common_address)
    return Unit(octets + b"\x00\x00\x00\x00")
