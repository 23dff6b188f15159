"""A station with a few points, and readings with harmless defaults."""

from __future__ import annotations

from gateway.books import BookLine
from gateway.outstation.asdu import Quality, Reading
from gateway.outstation.points import PointList, Subject, fold, lines_due
from gateway.outstation.station import Station, initial
from gateway.outstation.table import Of
from gateway.settings import Site, Unit
from tests.gateway.build import START_US

SITE = "north-head"
REGISTER = {SITE: Site(title="North Head", units={"m1": Unit(insulators=("A1", "B2"))})}
A1 = Subject(Of.INSULATOR, f"{SITE}/A1")


def listed(register: dict[str, Site], held: PointList | None = None) -> PointList:
    """The list brought up to a register, as the book would keep it."""
    before = held or PointList()
    bodies = lines_due(before, register)
    lines = [BookLine(before.version + n, START_US, body) for n, body in enumerate(bodies, 1)]
    return fold(before, lines)


POINTS = listed(REGISTER)


def address(name: str, subject: Subject = A1) -> int:
    found = POINTS.address(subject, name)
    assert found is not None
    return found


def station() -> Station:
    return initial({address: slot for address, _, slot in POINTS.points()})


def reading(amount: float = 1, second: float = 0, quality: Quality = Quality.GOOD) -> Reading:
    return Reading(amount, quality, START_US + round(second * 1_000_000))
