"""A console over a change of limits: one in force, one on trial, one that did not arrive."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gateway.limits.changing import Approve, Propose
from tests.gateway.limits.build import UNIT, WHOSE, arcing
from tests.gateway.limits.house import LimitsHouse

AWAY = "north-head.m1"
MARGIN = {"near-margin": WHOSE | {"limits": {"arcing_peak_ua": 60_000}}}


@contextmanager
def changing(folder: Path) -> Iterator[LimitsHouse]:
    """Without accounts, after a night of which the history has the rows."""
    house = LimitsHouse(folder)
    try:
        house.live_through()
        _approved(house, UNIT, "two calls a night in fog without salt")
        house.answer()
        _approved(house, AWAY, "as at Gannet Stack")
        house.tick(minutes=12)
        why = "the weak bursts of October were looked at on site; nothing was found"
        more = arcing(100, on_delay_s=300) | MARGIN
        house.limits.change(
            Propose(at_us=house.now_us, by="jo", unit=UNIT, reason=why, alarms=more)
        )
        yield house
    finally:
        house.close()


def _approved(house: LimitsHouse, unit: str, why: str) -> None:
    made = house.limits.change(
        Propose(at_us=house.now_us, by="mk", unit=unit, reason=why, alarms=arcing(12))
    )
    house.limits.change(Approve(at_us=house.now_us, by="jo", unit=unit, version=made.number))
