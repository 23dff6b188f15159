"""How the point list changes, which version the control centre has, and what points say now."""

from __future__ import annotations

import pytest

from gateway.books import BookLine
from gateway.outstation.asdu import Quality
from gateway.outstation.changes import Deed, HandOverRefused, changes, hand_over_line, handed_over
from gateway.outstation.points import PointList, PointsFault, Subject, fold, lines_due
from gateway.outstation.table import Of
from gateway.outstation.told import bits_of
from gateway.settings import Site, Unit
from tests.gateway.build import START_US
from tests.gateway.outstation.build import REGISTER, SITE

WITHOUT_B2 = {SITE: Site(units={"m1": Unit(insulators=("A1",))})}


def book(*registers: dict[str, Site]) -> list[BookLine]:
    """The book after the gateway was started with one register after another."""
    lines: list[BookLine] = []
    held = PointList()
    for place, register in enumerate(registers):
        bodies = lines_due(held, register)
        fresh = [
            BookLine(held.version + n, START_US + place, body) for n, body in enumerate(bodies, 1)
        ]
        held = fold(held, fresh)
        lines += fresh
    return lines


def test_each_line_of_the_list_says_what_it_did_and_which_addresses_it_is_about() -> None:
    found = changes(book(REGISTER, WITHOUT_B2, REGISTER))
    told = [(one.version, one.deed, one.of, one.name) for one in found]
    assert told[:5] == [
        (1, Deed.ADDED, Of.GATEWAY, ""),
        (2, Deed.ADDED, Of.SITE, SITE),
        (3, Deed.ADDED, Of.UNIT, f"{SITE}.m1"),
        (4, Deed.ADDED, Of.INSULATOR, f"{SITE}/A1"),
        (5, Deed.ADDED, Of.INSULATOR, f"{SITE}/B2"),
    ]
    assert told[5:] == [
        (6, Deed.RETIRED, Of.INSULATOR, f"{SITE}/B2"),
        (7, Deed.RETURNED, Of.INSULATOR, f"{SITE}/B2"),
    ]
    assert len({one.first_address for one in found if one.name.endswith("B2")}) == 1
    held = fold(PointList(), book(REGISTER))
    first = held.address(Subject(Of.INSULATOR, f"{SITE}/B2"), "arcing")
    assert found[-1].first_address == first and found[-1].points == 11


def test_what_was_handed_over_is_read_again_as_it_was_written() -> None:
    bodies = [
        hand_over_line(3, 5, 0, "mk", "by mail", "192.0.2.1"),
        hand_over_line(5, 5, 3, "jo", "", ""),
    ]
    found = handed_over(BookLine(n, START_US + n, body) for n, body in enumerate(bodies, 1))
    assert [(one.version, one.by, one.note) for one in found] == [
        (3, "mk", "by mail"),
        (5, "jo", ""),
    ]
    assert (found[0].at_us, found[0].address) == (START_US + 1, "192.0.2.1")


@pytest.mark.parametrize("version", [-1, 0, 1, 3, 6, 10**9])
def test_only_a_version_that_is_there_and_newer_than_the_last_can_be_handed_over(
    version: int,
) -> None:
    with pytest.raises(HandOverRefused, match=str(version)):
        hand_over_line(version, 5, 3, "mk", "", "")


@pytest.mark.parametrize(
    "body", [b"{}", b"no json", b'{"version":"x","by":"","note":"","address":""}']
)
def test_a_line_that_nobody_wrote_so_is_a_fault_of_the_book(body: bytes) -> None:
    with pytest.raises(PointsFault, match="line 1"):
        handed_over([BookLine(1, START_US, body)])


def test_every_bit_of_the_quality_has_its_letters() -> None:
    assert bits_of(Quality.GOOD) == ()
    assert bits_of(~Quality.GOOD) == ("IV", "NT", "SB", "BL", "OV")
    for bit in Quality:
        assert len(bits_of(bit)) == 1
