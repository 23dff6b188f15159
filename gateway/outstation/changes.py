"""How the point list came to be what it is, and which version of it the control centre has. Pure.

The list follows the register by itself; that the control centre's engineers have taken a version of
it over is a line that a person writes. What changed since then is what they still have to be told.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from edge.wire import canonical
from gateway.books import BookLine
from gateway.outstation.points import PointsFault, Subject
from gateway.outstation.table import BASE, BLOCK, SLOTS, Of

BOOK = "outstation-handed-over"
"""Its name among the gateway's books."""


class Deed(StrEnum):
    """What a line of the point list did."""

    ADDED = "added"
    RETIRED = "retired"
    RETURNED = "returned"


@dataclass(frozen=True, slots=True)
class Change:
    """version: of the list from this line on. first_address: of the subject's block, points: how
    many of it are in the list."""

    version: int
    at_us: int
    deed: Deed
    of: Of
    name: str
    first_address: int
    points: int


@dataclass(frozen=True, slots=True)
class HandedOver:
    """The control centre has this version. by: who says so, from which address."""

    version: int
    at_us: int
    by: str
    note: str
    address: str


NOT_YET = HandedOver(0, 0, "", "", "")


class HandOverRefused(ValueError):
    """A version that cannot be handed over."""


def changes(lines: Iterable[BookLine]) -> list[Change]:
    """Of a book that was folded before, so that its lines are known to be sound; oldest first."""
    seen: set[Subject] = set()
    found = []
    for line in lines:
        plain = json.loads(line.body)
        of, name, number = Of(plain["of"]), plain["name"], plain["number"]
        subject = Subject(of, name)
        deed = Deed.RETIRED
        if plain["in_use"]:
            deed = Deed.RETURNED if subject in seen else Deed.ADDED
        seen.add(subject)
        first = BASE[of][0] + BLOCK * number
        found.append(Change(line.number, line.at_us, deed, of, name, first, len(SLOTS[of])))
    return found


def handed_over(lines: Iterable[BookLine]) -> list[HandedOver]:
    """Oldest first. Raises PointsFault."""
    found = []
    for line in lines:
        try:
            plain = json.loads(line.body)
            said = HandedOver(
                int(plain["version"]), line.at_us, plain["by"], plain["note"], plain["address"]
            )
        except (ValueError, TypeError, KeyError) as fault:
            raise PointsFault(f"book {BOOK}, line {line.number}: {fault}") from fault
        found.append(said)
    return found


def hand_over_line(version: int, newest: int, last: int, by: str, note: str, address: str) -> bytes:
    """newest: version of the list now. last: the one that was handed over before. Raises
    HandOverRefused."""
    if not 1 <= version <= newest:
        raise HandOverRefused(
            f"version {version}; the list is at {newest}, and nobody has one that is not there yet"
        )
    if version <= last:
        raise HandOverRefused(f"version {version}; the control centre already has {last}")
    plain = {"version": version, "by": by, "note": note, "address": address}
    return canonical(plain)
