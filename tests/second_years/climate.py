"""Years of true coastal weather, by the hour, made from the typical years that pvlib carries.

Two of its files are coastal: Miami (warm, showers) and Sand Point, Alaska (cold, long wet spells).
The third coast is Miami disturbed: a cold current makes the nights foggy and takes the rain away.
A year is put together from blocks of five to nine days of the same season, spliced at local noon,
with daily disturbances of the dew-point depression and the temperature; so no two years are alike.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pvlib
from pvlib.iotools import read_tmy2, read_tmy3
from scipy.signal import lfilter

Floats = npt.NDArray[np.float64]
YEAR_H = 8760
FIRST_YEAR = 2022
"""It and the next one have 365 days, as the typical years have."""

SHOWER_MM = {"0": 1.5, "1": 6.0, "2": 15.0, "3": 4.0, "4": 10.0, "5": 25.0}
"""Mean depth of an hour with this code of present weather (light, moderate, heavy rain, then
showers): the file has codes and no depths; a choice that gives about 1.1 m a year."""

DRIZZLE_MM = 1.3
DRIZZLE_CHANCE = 0.6
"""Sand Point's file lacks most of its rain: hours overcast above 88 % rain with this chance."""


@dataclass(frozen=True, slots=True)
class Coast:
    """A place. zone_h: local standard time against UTC. sea_deg: bearing of the sea from north."""

    name: str
    zone_h: int
    sea_deg: float


COASTS = (Coast("warm", -5, 100.0), Coast("cold", -9, 150.0), Coast("fog", -5, 100.0))


@dataclass(frozen=True, slots=True)
class Climate:
    """True weather on whole hours from local midnight of 1 January. Shape (hours,).

    utc_h: hours from 1970 of each start. activity: share of saturation vapour pressure, at most 1.
    sun_w_m2: global. cloud: covered share of the sky.
    """

    coast: Coast
    utc_h: npt.NDArray[np.int64]
    air_c: Floats
    dew_c: Floats
    activity: Floats
    rain_mm: Floats
    wind_m_s: Floats
    wind_from_deg: Floats
    sun_w_m2: Floats
    cloud: Floats


def saturation_hpa(air_c: Floats) -> Floats:
    """Vapour pressure over water (Magnus form, WMO-No. 8, Annex 4.B)."""
    return np.asarray(6.112 * np.exp(17.62 * air_c / (243.12 + air_c)))


@cache
def typical(name: str) -> dict[str, Floats]:
    """The typical year of a coast; rain: mean depth of an hour if it rains, with that chance."""
    folder = Path(pvlib.__file__).parent / "data"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        if name == "cold":
            table, _ = read_tmy3(folder / "703165TY.csv", map_variables=False)
            return _of_tmy3(lambda column: table[column].to_numpy(float))
        table, _ = read_tmy2(folder / "12839.tm2")
    year = _of_tm2(lambda column: table[column].to_numpy(float))
    return _fogged(year) if name == "fog" else year


def _of_tm2(column: Callable[[str], Floats]) -> dict[str, Floats]:
    air = column("DryBulb") / 10
    codes = [str(int(code)).zfill(9)[1] for code in np.nan_to_num(column("PresentWeather"))]
    mean = np.array([SHOWER_MM.get(code, 0.0) for code in codes])
    return {
        "air": air, "depression": air - column("DewPoint") / 10, "wind": column("Wspd") / 10,
        "from": column("Wdir"), "sun": column("GHI"), "cloud": column("OpqCld") / 10,
        "rain": mean, "chance": np.where(mean > 0, 1.0, 0.0),
    }  # fmt: skip


def _of_tmy3(column: Callable[[str], Floats]) -> dict[str, Floats]:
    air, cloud = column("Dry-bulb (C)"), column("OpqCld (tenths)") / 10
    raining = (cloud >= 1.0) & (column("RHum (%)") >= 88)
    return {
        "air": air, "depression": air - column("Dew-point (C)"), "wind": column("Wspd (m/s)"),
        "from": column("Wdir (degrees)"), "sun": column("GHI (W/m^2)"), "cloud": cloud,
        "rain": np.full(YEAR_H, DRIZZLE_MM), "chance": np.where(raining, DRIZZLE_CHANCE, 0.0),
    }  # fmt: skip


def _fogged(year: dict[str, Floats]) -> dict[str, Floats]:
    """Air over a cold current: 6 K cooler, night depressions near halved, hardly any rain."""
    hour = np.arange(YEAR_H) % 24
    night = 0.5 + 0.5 * np.cos((hour - 4) / 24 * 2 * np.pi)
    depression = year["depression"] * (0.95 - 0.45 * night)
    return year | {
        "air": year["air"] - 6.0, "depression": depression, "chance": year["chance"] * 0.04
    }  # fmt: skip


def daily(rng: np.random.Generator, days: int, sd: float, memory: float) -> Floats:
    """A wandering daily figure of this spread, one for each hour, without steps."""
    noise = rng.standard_normal(days + 2) * np.sqrt(1 - memory**2)
    walk = sd * np.asarray(lfilter([1.0], [1.0, -memory], noise))
    return np.interp(np.arange(days * 24) / 24, np.arange(days + 2) - 0.5, walk)


def _places(rng: np.random.Generator, years: int) -> npt.NDArray[np.int64]:
    """For each hour, the hour of the typical year that it is taken from."""
    total, at, pieces = years * 365, 0, []
    while at < total:
        length = int(rng.integers(5, 10))
        source = (at + int(rng.integers(-14, 15))) % 365
        pieces.append(np.arange(source * 24 + 12, (source + length) * 24 + 12))
        at += length
    return np.concatenate([np.arange(12), *pieces])[: total * 24] % YEAR_H


def climate(
    coast: Coast, rng: np.random.Generator, years: int = 2, dryness: Floats | float = 1.0
) -> Climate:
    """Years of weather. dryness: factor on the dew-point depression, one or one for each hour."""
    base, places, days = typical(coast.name), _places(rng, years), years * 365
    air = base["air"][places] + daily(rng, days, 0.8, 0.6)
    rounding = rng.uniform(-0.2, 0.2, places.size)
    spread = base["depression"][places] * np.exp(daily(rng, days, 0.15, 0.5)) * dryness + rounding
    dew = air - np.maximum(spread, 0.0)
    rains = rng.random(places.size) < base["chance"][places]
    rain = np.where(rains, base["rain"][places] * rng.exponential(1.0, places.size), 0.0)
    wind = base["wind"][places] * rng.uniform(0.85, 1.15, places.size)
    first_h = int(datetime(FIRST_YEAR, 1, 1, tzinfo=UTC).timestamp()) // 3600 - coast.zone_h
    return Climate(
        coast, first_h + np.arange(places.size, dtype=np.int64), air, dew,
        saturation_hpa(dew) / saturation_hpa(air), np.round(rain, 1), wind,
        (base["from"][places] + rng.normal(0, 8, places.size)) % 360,
        base["sun"][places], np.clip(base["cloud"][places], 0, 1),
    )  # fmt: skip
