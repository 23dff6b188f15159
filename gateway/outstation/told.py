"""What each point says now, as the API, the page and the CSV tell it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from gateway.outstation.asdu import TIMED, Kind, Quality, Reading
from gateway.outstation.outstation import Outstation
from gateway.outstation.points import Subject
from gateway.outstation.station import UNSAID
from gateway.outstation.table import Of, Slot

BITS = {
    Quality.INVALID: ("IV", "invalid"),
    Quality.NOT_TOPICAL: ("NT", "not topical: old"),
    Quality.SUBSTITUTED: ("SB", "substituted"),
    Quality.BLOCKED: ("BL", "blocked: out of service"),
    Quality.OVERFLOW: ("OV", "overflow: the true value is higher"),
}
"""Letters and words of each bit, the gravest first."""


@dataclass(frozen=True, slots=True)
class PointTold:
    """One point now. type, type_timed: numbers of the data units. said: None where nothing was ever
    heard of it. bits: letters of the quality, () is good. at_us: its time tag, 0 for none.
    time_doubtful: the unit's clock was not synchronised then."""

    address: int
    type: int
    type_timed: int
    group: int
    of: str
    subject: str
    point: str
    text: str
    unit: str
    said: float | None
    bits: tuple[str, ...]
    at_us: int
    time_doubtful: bool

    @property
    def is_state(self) -> bool:
        """On or off, and no number."""
        return self.type == Kind.STATE

    @property
    def is_count(self) -> bool:
        """A whole number that rises."""
        return self.type == Kind.COUNTER


def bits_of(quality: Quality) -> tuple[str, ...]:
    """The letters, the gravest first."""
    return tuple(letters for bit, (letters, _) in BITS.items() if quality & bit)


def site_of(subject: Subject) -> str:
    """ "" of the gateway."""
    if subject.of is Of.UNIT:
        return subject.name.partition(".")[0]
    return subject.name.partition("/")[0]


def points_told(
    outstation: Outstation, of: str = "", site: str = "", only_doubtful: bool = False
) -> Iterator[PointTold]:
    """In order of their addresses. of: a kind of subject, "" for all."""
    told = outstation.server.station.told
    for address, subject, slot in outstation.points.points():
        if (of and subject.of.value != of) or (site and site_of(subject) != site):
            continue
        reading = told[address]
        if not only_doubtful or reading.quality or reading.time_doubtful:
            yield point_told(address, subject, slot, reading)


def point_told(address: int, subject: Subject, slot: Slot, reading: Reading) -> PointTold:
    """One point with what it said last."""
    return PointTold(
        address=address,
        type=int(slot.kind),
        type_timed=int(TIMED[slot.kind]),
        group=slot.group,
        of=subject.of.value,
        subject=subject.name,
        point=slot.name,
        text=slot.text,
        unit=slot.unit,
        said=None if reading == UNSAID else reading.amount,
        bits=bits_of(reading.quality),
        at_us=reading.at_us,
        time_doubtful=reading.time_doubtful,
    )
