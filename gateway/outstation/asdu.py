"""Data units of IEC 60870-5-104, those that an outstation which only monitors needs. Pure.

After the companion standard as recalled, and from secondary texts: type, number of objects, cause
(two octets), common address (two octets), then objects of a three-octet address each.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import IntEnum, IntFlag

from gateway.outstation.frames import ASDU_BYTES_MAX, PeerFault

HEAD_BYTES = 6
ADDRESS_BYTES = 3
ADDRESS_MAX = (1 << 24) - 1
COUNTER_NUMBERS = 1 << 31
"""A counter reading is a signed 32-bit number; ours wrap to 0 before it turns negative."""


class Kind(IntEnum):
    """Type identifications, monitoring and control direction."""

    STATE = 1  # M_SP_NA_1
    MEASURED = 13  # M_ME_NC_1
    COUNTER = 15  # M_IT_NA_1
    STATE_TIMED = 30  # M_SP_TB_1
    MEASURED_TIMED = 36  # M_ME_TF_1
    COUNTER_TIMED = 37  # M_IT_TB_1
    END_OF_INITIALISATION = 70  # M_EI_NA_1
    INTERROGATION = 100  # C_IC_NA_1
    COUNTER_INTERROGATION = 101  # C_CI_NA_1
    CLOCK = 103  # C_CS_NA_1


TIMED = {
    Kind.STATE: Kind.STATE_TIMED,
    Kind.MEASURED: Kind.MEASURED_TIMED,
    Kind.COUNTER: Kind.COUNTER_TIMED,
}


class Cause(IntEnum):
    """Causes of transmission."""

    SPONTANEOUS = 3
    INITIALISED = 4
    ACTIVATION = 6
    ACTIVATION_CON = 7
    DEACTIVATION = 8
    DEACTIVATION_CON = 9
    ACTIVATION_END = 10
    INTERROGATED = 20
    COUNTERS_ASKED = 37
    UNKNOWN_TYPE = 44
    UNKNOWN_CAUSE = 45
    UNKNOWN_COMMON_ADDRESS = 46
    UNKNOWN_OBJECT = 47


NEGATIVE = 0x40
"""Set in the cause of a confirmation that refuses."""


class Quality(IntFlag):
    """Quality of a state or a measured value; OVERFLOW is of measured values only."""

    GOOD = 0
    OVERFLOW = 0x01
    BLOCKED = 0x10
    SUBSTITUTED = 0x20
    NOT_TOPICAL = 0x40
    INVALID = 0x80


COUNTER_INVALID = 0x80
CARRY = 0x20


@dataclass(frozen=True, slots=True)
class Reading:
    """What a point says. amount: 0 or 1 of a state, whole of a counter. time_doubtful: the unit's
    clock was not synchronised when it was dated."""

    amount: float
    quality: Quality
    at_us: int
    time_doubtful: bool = False


@dataclass(frozen=True, slots=True)
class Head:
    """Head of a data unit that came. rest: its objects' octets."""

    kind: int
    number: int
    cause: int
    negative: bool
    originator: int
    common_address: int
    rest: bytes


def head_bytes(
    kind: int, number: int, cause: int, common_address: int, originator: int = 0
) -> bytes:
    """The six octets before the objects."""
    return struct.pack("<BBBBH", kind, number, cause, originator, common_address)


def read_head(asdu: bytes) -> Head:
    """The head of a data unit. Raises PeerFault."""
    if len(asdu) < HEAD_BYTES:
        raise PeerFault(f"a data unit of {len(asdu)} octets; it has at least {HEAD_BYTES}")
    kind, number, cause, originator, common = struct.unpack_from("<BBBBH", asdu)
    return Head(
        kind, number & 0x7F, cause & 0x3F, bool(cause & NEGATIVE), originator, common, asdu[6:]
    )


def object_bytes(kind: Kind, address: int, reading: Reading) -> bytes:
    """One object with its address; with its time where the type has one."""
    octets = address.to_bytes(ADDRESS_BYTES, "little")
    match kind:
        case Kind.STATE | Kind.STATE_TIMED:
            quality = reading.quality & ~Quality.OVERFLOW
            octets += bytes((int(bool(reading.amount)) | quality,))
        case Kind.MEASURED | Kind.MEASURED_TIMED:
            octets += _float(reading)
        case Kind.COUNTER | Kind.COUNTER_TIMED:
            octets += _counter(reading)
        case _:
            raise AssertionError(f"{kind} is no object of the monitoring direction")
    return octets + (time_bytes(reading) if kind in TIMED.values() else b"")


def _float(reading: Reading) -> bytes:
    """A number that cannot be said is 0 and invalid: never an infinity on the wire."""
    amount, quality = reading.amount, reading.quality
    if not math.isfinite(amount) or abs(amount) > 3.4e38:
        amount, quality = 0.0, quality | Quality.INVALID
    return struct.pack("<fB", amount, quality)


def _counter(reading: Reading) -> bytes:
    count = int(reading.amount)
    flags = COUNTER_INVALID if reading.quality & Quality.INVALID else 0
    flags |= CARRY if count >= COUNTER_NUMBERS else 0
    return struct.pack("<iB", count % COUNTER_NUMBERS, flags)


def time_bytes(reading: Reading) -> bytes:
    """CP56Time2a in UTC; the invalid bit where the time is doubtful."""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=reading.at_us)
    milliseconds = moment.second * 1000 + moment.microsecond // 1000
    minute = moment.minute | (0x80 if reading.time_doubtful else 0)
    day = moment.day | moment.isoweekday() << 5
    return struct.pack(
        "<HBBBBB", milliseconds, minute, moment.hour, day, moment.month, moment.year % 100
    )


Numbered = tuple[int, Reading]
"""A point's address and what it says."""


def packed(
    kind: Kind, cause: int, common_address: int, objects: Iterable[Numbered]
) -> Iterator[bytes]:
    """Data units of objects of one type, as many objects in each as fit."""
    waiting: list[bytes] = []
    for address, reading in objects:
        octets = object_bytes(kind, address, reading)
        if waiting and HEAD_BYTES + (len(waiting) + 1) * len(octets) > ASDU_BYTES_MAX:
            yield head_bytes(kind, len(waiting), cause, common_address) + b"".join(waiting)
            waiting = []
        waiting.append(octets)
    if waiting:
        yield head_bytes(kind, len(waiting), cause, common_address) + b"".join(waiting)


def room_for(kind: Kind) -> int:
    """How many objects of a type fit into one data unit."""
    sample = object_bytes(kind, 0, Reading(0, Quality.GOOD, 0))
    return (ASDU_BYTES_MAX - HEAD_BYTES) // len(sample)
