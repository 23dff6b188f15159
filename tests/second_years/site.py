"""One simulated site: what happens to it (a plan), its rows, and what is true of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from gateway.trends import (
    IntervalColumns,
    MaintenanceRow,
    Period,
    RegisterEntry,
    SiteColumns,
    WeatherColumns,
)
from gateway.trends.columns import SurfaceType
from tests.second_years.climate import COASTS, YEAR_H, Climate, Floats, climate
from tests.second_years.instruments import (
    HOUR_US,
    Loggers,
    Probe,
    current_rows,
    ordinary_loggers,
    ordinary_probe,
    weather_rows,
)
from tests.second_years.surface import Surfaces, Truth, ordinary, truth


@dataclass(frozen=True, slots=True)
class Stage:
    """A site before its rows are made; a scenario changes it. Reference and now in hours."""

    weather: Climate
    surfaces: Surfaces
    probe: Probe
    loggers: Loggers
    reference: tuple[int, int] = (0, YEAR_H)
    now: tuple[int, int] = (YEAR_H, 2 * YEAR_H)
    maintenance: tuple[MaintenanceRow, ...] = ()
    with_weather: bool = True

    @property
    def names(self) -> tuple[str, ...]:
        """Of the insulators, in order."""
        return tuple(f"P{number + 1:02d}" for number in range(self.surfaces.half_x.size))

    def at_us(self, hour: int) -> int:
        """UTC of an hour of the stage."""
        return int(self.weather.utc_h[0] + hour) * HOUR_US

    def changed(self, field_name: str, at: int | slice, from_hour: int, by: float) -> Stage:
        """A field of the surfaces multiplied by `by` from an hour on; `at`: which insulators."""
        series = np.array(getattr(self.surfaces, field_name))
        series[from_hour:, at] *= by
        return replace(self, surfaces=replace(self.surfaces, **{field_name: series}))

    def lowered(self, at: int | slice, from_hour: int, fall_x: Floats | float) -> Stage:
        """Onsets lowered for good from an hour on, by so much in x."""
        series = self.surfaces.lowered_x.copy()
        series[from_hour:, at] += fall_x
        return replace(self, surfaces=replace(self.surfaces, lowered_x=series))


@dataclass(frozen=True, slots=True)
class Rows:
    """What the program gets."""

    columns: SiteColumns
    weather: WeatherColumns | None
    register: Mapping[str, RegisterEntry]
    reference: Period
    now: Period
    maintenance: Sequence[MaintenanceRow] = field(default=())


def stage(
    seed: Sequence[int], coast: int, count: int = 8, years: int = 2,
    dryness: Floats | float = 1.0, rich: bool | None = None,
) -> tuple[Stage, np.random.Generator]:  # fmt: skip
    """An ordinary site on one of the coasts, and the chance that goes with it."""
    rng = np.random.default_rng([*seed, coast])
    weather = climate(COASTS[coast], rng, years, dryness)
    hours = weather.air_c.size
    known = bool(rng.random() < 0.7) if rich is None else rich
    return Stage(
        weather, ordinary(rng, hours, count), ordinary_probe(rng, hours),
        ordinary_loggers(rng, hours, count, known),
    ), rng  # fmt: skip


def rows_of(one: Stage, rng: np.random.Generator) -> tuple[Rows, Truth]:
    """The rows of a stage, and the true currents behind them."""
    true = truth(one.weather, one.surfaces, rng)
    station = weather_rows(one.weather, one.probe, rng)
    insulators: dict[str, IntervalColumns] = {
        name: current_rows(one.weather, true, one.loggers, at, rng)
        for at, name in enumerate(one.names)
    }
    span = [Period(one.at_us(first), one.at_us(end)) for first, end in (one.reference, one.now)]
    register = {name: RegisterEntry(SurfaceType.COMPOSITE, "12.7 kV post") for name in one.names}
    return Rows(
        SiteColumns("second", insulators, one.weather.coast.sea_deg),
        station if one.with_weather else None, register, span[0], span[1], one.maintenance,
    ), true  # fmt: skip
