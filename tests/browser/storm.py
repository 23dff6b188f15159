"""A storm that reaches a whole site, as commits."""

from __future__ import annotations

from edge.quantities import State
from edge.records import Condition, Stream
from gateway.settings import Site, Unit
from tests.gateway.build import START_US, condition, epoch_start, health, interval, weather
from tests.gateway.console.house import House

NAMES = tuple(f"B{number}-{phase}" for number in (1, 2, 3, 4) for phase in "RST")
TERNHOLM = {
    "ternholm": Site(
        title="Ternholm", call="the duty engineer, x4411", units={"m1": Unit(insulators=NAMES)}
    )
}
UNIT = "ternholm.m1"


def minute_rows(house: House, minute: int, arcing: int) -> None:
    """A minute's rows of all twelve; the first `arcing` of them arc."""
    rows = [
        interval(
            minute,
            name,
            state=State.ARCING_DENSE if place < arcing else State.WET,
            arcing_peak_ua=184_000 - 9_000 * place if place < arcing else 0,
            peak_ua=184_000 - 9_000 * place if place < arcing else 4_000,
            arcing_halfcycles=800 if place < arcing else 0,
            flags=(),
        )
        for place, name in enumerate(NAMES)
    ]
    house.commit(*rows, stream=Stream.INTERVAL, unit=UNIT)
    house.commit(weather(minute, rh_cpct=9_800, wind_mm_s=2_000), stream=Stream.WEATHER, unit=UNIT)
    house.commit(health(minute), stream=Stream.HEALTH, unit=UNIT)


def storm(house: House, alarms: int = 12, minutes: int = 10) -> None:
    """Insulators cross their limit one after another within ten minutes."""
    house.commit(epoch_start(), unit=UNIT)
    crossed = 0
    for minute in range(minutes + 1):
        house.now_us = START_US + (minute + 1) * 60_000_000
        wanted = alarms * minute // minutes
        minute_rows(house, minute, wanted)
        for name in NAMES[crossed:wanted]:
            change = condition(minute, Condition.IN, "arcing", name)
            house.commit(change, unit=UNIT)
        crossed = wanted
        house.tick()
