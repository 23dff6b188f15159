"""Aids to pollution severity: deposit from a wash-off sample, creepage, deposit against index."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from gateway.trends.columns import Floats
from gateway.trends.distributions import two_sided_t

CONDUCTIVITY_LOW_S_M, CONDUCTIVITY_HIGH_S_M = 0.004, 0.4
"""Range at 20 C in which the salinity formula holds (IEC 60507, as recalled). Above it it reads
low, by up to 41 % at 20 S/m against the recalled salinity table (computed)."""
SAMPLE_LOW_C, SAMPLE_HIGH_C = 5.0, 30.0
"""Range of the recalled temperature factors; outside it the correction is flagged."""
RUSCD_MM_KV = {"a": 22.0, "b": 27.8, "c": 34.7, "d": 43.3, "e": 53.7}
"""Reference unified specific creepage by site severity class [mm/kV on phase-to-earth voltage] (IEC
TS 60815-1:2008, as recalled)."""
PAIRS_MIN = 4
"""With fewer pairs of deposit and index no relation is fitted."""


@dataclass(frozen=True, slots=True)
class Deposit:
    """Equivalent salt deposit density [mg/cm2], conductivity at 20 C [S/m], salinity [kg/m3];
    flags: what was out of the formulas' range."""

    esdd_mg_cm2: float
    conductivity_20_s_m: float
    salinity_kg_m3: float
    flags: tuple[str, ...]


def temperature_factor(sample_c: float) -> float:
    """Factor b of the correction to 20 C [1/K]: polynomial through 0.03156, 0.02817, 0.02277,
    0.01905 at 5, 10, 20, 30 C (IEC 60507, as recalled; table and polynomial agree)."""
    t = sample_c
    return -3.2e-8 * t**3 + 1.032e-5 * t**2 - 8.272e-4 * t + 3.544e-2


def esdd(conductivity_s_m: float, sample_c: float, volume_cm3: float, area_cm2: float) -> Deposit:
    """Salt deposit from a sample of `volume_cm3` washed off `area_cm2` (IEC 60507 and IEC TS
    60815-1, as recalled): s20 = s (1 - b (t - 20)); Sa = (5.7 s20)^1.03; ESDD = Sa V / A.

    Raises ValueError for what cannot be a sample.
    """
    if not (conductivity_s_m > 0 and volume_cm3 > 0 and area_cm2 > 0):
        raise ValueError(
            f"conductivity {conductivity_s_m} S/m, volume {volume_cm3} cm3, area {area_cm2} cm2; "
            "each must be above 0"
        )
    at_20 = conductivity_s_m * (1.0 - temperature_factor(sample_c) * (sample_c - 20.0))
    salinity = (5.7 * at_20) ** 1.03
    flags = []
    if not CONDUCTIVITY_LOW_S_M <= at_20 <= CONDUCTIVITY_HIGH_S_M:
        flags.append("conductivity-out-of-range")
    if not SAMPLE_LOW_C <= sample_c <= SAMPLE_HIGH_C:
        flags.append("temperature-out-of-range")
    return Deposit(salinity * volume_cm3 / area_cm2, at_20, salinity, tuple(flags))


def phase_earth_creepage(creepage_mm: float, highest_voltage_kv: float) -> float:
    """Unified specific creepage [mm/kV]: creepage distance over Um / sqrt(3)."""
    return creepage_mm / (highest_voltage_kv / math.sqrt(3.0))


def severity_covered(unified_mm_kv: float) -> str | None:
    """The heaviest class whose reference creepage this reaches; None below class a.

    Compared to 0.1 mm/kV, the rounding of the reference values. Diameter, altitude and material
    are not corrected for.
    """
    reached = [name for name, needed in RUSCD_MM_KV.items() if unified_mm_kv >= needed - 0.1]
    return reached[-1] if reached else None


@dataclass(frozen=True, slots=True)
class Relation:
    """log index = intercept + slope log ESDD, of one structure; scatter [ln] of a pair about it;
    slope with its interval; correlation; pairs."""

    intercept: float
    slope: float
    slope_low: float
    slope_high: float
    scatter: float
    correlation: float
    pairs: int


def deposit_relation(
    esdd_mg_cm2: Floats, index_ma: Floats, interval: float = 0.90
) -> Relation | None:
    """The relation between measured deposits and the index of the same structure; None for fewer
    than PAIRS_MIN usable pairs or deposits all alike."""
    kept = (esdd_mg_cm2 > 0) & (index_ma > 0)
    count = int(np.sum(kept))
    if count < PAIRS_MIN or float(np.ptp(esdd_mg_cm2[kept])) == 0.0:
        return None
    x, y = np.log(esdd_mg_cm2[kept]), np.log(index_ma[kept])
    away, spread = x - np.mean(x), float(np.sum(np.square(x - np.mean(x))))
    slope = float(away @ y) / spread
    intercept = float(np.mean(y)) - slope * float(np.mean(x))
    left = y - intercept - slope * x
    scatter = float(np.sqrt(np.sum(np.square(left)) / (count - 2)))
    wide = two_sided_t(interval, count - 2) * scatter / spread**0.5
    return Relation(
        intercept=intercept,
        slope=slope,
        slope_low=slope - wide,
        slope_high=slope + wide,
        scatter=scatter,
        correlation=float(np.corrcoef(x, y)[0, 1]) if float(np.ptp(y)) > 0 else 0.0,
        pairs=count,
    )
