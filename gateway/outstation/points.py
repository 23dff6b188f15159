"""The point list: which subject has which number, a fold over its book. Pure.

Subjects are added as they come into the register; one that leaves it keeps its number, retired, and
gets it back with its name. The list's version is the number of its last line.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from edge.wire import canonical
from gateway.books import BookLine
from gateway.outstation.asdu import TIMED
from gateway.outstation.table import BASE, NOT_FOR_TRIP, SLOTS, Of, Slot, address_of
from gateway.settings import Site

BOOK = "outstation-points"
"""Its name among the gateway's books."""


class PointsFault(ValueError):
    """The book of points is not as it was written, or there is no room for a further subject."""


@dataclass(frozen=True, slots=True, order=True)
class Subject:
    """What points are about: the gateway (""), a site, a unit, or `site/insulator`."""

    of: Of
    name: str


@dataclass(frozen=True, slots=True)
class Place:
    """A subject's number, since when, and whether it is in the register now."""

    number: int
    since_us: int
    in_use: bool = True


@dataclass(frozen=True, slots=True)
class PointList:
    """All subjects that ever had a number. version: 0 before the first line."""

    places: Mapping[Subject, Place] = field(default_factory=dict)
    version: int = 0

    def address(self, subject: Subject, name: str) -> int | None:
        """Address of a point in use; None where there is none."""
        place = self.places.get(subject)
        slot = next((one for one in SLOTS[subject.of] if one.name == name), None)
        if place is None or slot is None or not place.in_use:
            return None
        return address_of(subject.of, place.number, slot)

    def points(self) -> Iterator[tuple[int, Subject, Slot]]:
        """Every point in use, in order of its address."""
        found = [
            (address_of(subject.of, place.number, slot), subject, slot)
            for subject, place in self.places.items()
            if place.in_use
            for slot in SLOTS[subject.of]
        ]
        yield from sorted(found, key=lambda one: one[0])


def subjects(register: Mapping[str, Site]) -> list[Subject]:
    """What the register wants points for, in an order of its own."""
    found = [Subject(Of.GATEWAY, "")]
    for site, of in sorted(register.items()):
        found.append(Subject(Of.SITE, site))
        for monitor, unit in sorted(of.units.items()):
            found.append(Subject(Of.UNIT, f"{site}.{monitor}"))
            found += [Subject(Of.INSULATOR, f"{site}/{one}") for one in sorted(unit.insulators)]
    return list(dict.fromkeys(found))


def lines_due(held: PointList, register: Mapping[str, Site]) -> list[bytes]:
    """Lines that bring the list up to the register. Raises PointsFault where there is no room."""
    wanted = subjects(register)
    lines: list[bytes] = []
    following = {of: 1 + _highest(held, of) for of in Of}
    for subject in wanted:
        place = held.places.get(subject)
        if place is None:
            number = following[subject.of]
            following[subject.of] += 1
            lines.append(_line(subject, number, True))
        elif not place.in_use:
            lines.append(_line(subject, place.number, True))
    gone = [one for one, place in held.places.items() if place.in_use and one not in set(wanted)]
    return lines + [_line(one, held.places[one].number, False) for one in sorted(gone)]


def _highest(held: PointList, of: Of) -> int:
    return max((one.number for of_, one in held.places.items() if of_.of is of), default=-1)


def _line(subject: Subject, number: int, in_use: bool) -> bytes:
    if number >= BASE[subject.of][1]:
        raise PointsFault(
            f"outstation: {subject.of} number {number}; there is room for {BASE[subject.of][1]}, "
            "and no address is ever used twice"
        )
    plain = {"of": subject.of.value, "name": subject.name, "number": number, "in_use": in_use}
    return canonical(plain)


def fold(held: PointList, lines: Iterable[BookLine]) -> PointList:
    """The list after lines. Raises PointsFault."""
    for line in lines:
        try:
            plain = json.loads(line.body)
            subject = Subject(Of(plain["of"]), str(plain["name"]))
            number, in_use = int(plain["number"]), bool(plain["in_use"])
        except (ValueError, TypeError, KeyError) as fault:
            raise PointsFault(f"book of points, line {line.number}: {fault}") from fault
        before = held.places.get(subject, Place(number, line.at_us))
        taken = any(
            one.of is subject.of and one != subject and place.number == number
            for one, place in held.places.items()
        )
        if taken or before.number != number:
            raise PointsFault(
                f"book of points, line {line.number}: {subject.of} {subject.name} would get "
                f"number {number}, which is another's or not its own; restore the book's copy"
            )
        places = {**held.places, subject: replace(before, in_use=in_use)}
        held = PointList(places, line.number)
    return held


COLUMNS = (
    "address",
    "type",
    "type_timed",
    "group",
    "subject_kind",
    "subject",
    "point",
    "text",
    "unit",
    "deadband_least",
    "deadband_share_ppm",
    "in_use",
    "since",
    "use",
)


def csv_text(held: PointList, common_address: int) -> str:
    """The whole list, retired points too, for the control centre's engineers.

    The first line says version and common address, the second the columns.
    """
    out = io.StringIO()
    out.write(f"# version {held.version}, common address {common_address}, {NOT_FOR_TRIP}\n")
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(COLUMNS)
    for address, subject, place, slot in _all(held):
        rows.writerow(
            [
                address,
                int(slot.kind),
                int(TIMED[slot.kind]),
                slot.group,
                subject.of.value,
                subject.name,
                slot.name,
                slot.text,
                slot.unit,
                f"{slot.least:g}",
                slot.share_ppm,
                "yes" if place.in_use else "retired",
                place.since_us,
                NOT_FOR_TRIP,
            ]
        )
    return out.getvalue()


def _all(held: PointList) -> list[tuple[int, Subject, Place, Slot]]:
    return sorted(
        (
            (address_of(subject.of, place.number, slot), subject, place, slot)
            for subject, place in held.places.items()
            for slot in SLOTS[subject.of]
        ),
        key=lambda one: one[0],
    )
