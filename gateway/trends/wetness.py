"""How wet the air makes a salty surface: dew point, wet episodes, time of wetness, rain, salt.

A surface wets when its salt takes up water; sodium chloride does so near 75 % humidity. Once wet it
stays wet while the air dries, and crystallises far lower. A single limit would count each flutter
about it as a new night; two limits (wets, dries) do not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gateway.trends.columns import Bools, Floats, Ints

MAGNUS_HPA = 6.112
MAGNUS_A = 17.62
MAGNUS_B_C = 243.12
"""Over water, WMO-No. 8 Annex 4.B (constants read in a weather-station manual quoting it)."""

WETS_RH_PCT = 75.0
"""At or above it a salty surface becomes wet (saturated NaCl 75.3 % at 25 C: read, CRC Handbook
sec. 15). Sea salt holds magnesium and can begin lower (inference)."""

DRIES_RH_PCT = 65.0
"""Below it a wet surface counts as dry. Pure NaCl crystallises near 45 % (as recalled); by 65 % the
film has lost most of its water and conducts little. Design choice."""

TOW_RH_PCT = 80.0
TOW_AIR_C = 0.0
"""Time of wetness: humidity above 80 % and air above 0 C (ISO 9223, as recalled; sources differ
between > and >=). A poor estimator below 0 C and with salt."""

CLEANING_RAIN_MM = 5.0
"""Rain within `CLEANING_RAIN_HOURS` that counts as cleaning. Design choice: local, a setting."""
CLEANING_RAIN_HOURS = 6

ONSHORE_WITHIN_DEG = 90.0
"""Wind from within this angle of the bearing of the sea is onshore (geometry)."""
SALT_WIND_M_S = 4.0
"""Below it breaking waves lift little salt; spray then grows about as wind cubed. Design choice,
a relative index only."""


def vapour_pressure_hpa(air_c: Floats) -> Floats:
    """Saturation pressure over water [hPa] at `air_c` [degC], -45 to 60."""
    return np.asarray(MAGNUS_HPA * np.exp(MAGNUS_A * air_c / (MAGNUS_B_C + air_c)))


def dew_point_c(air_c: Floats, rh_pct: Floats) -> Floats:
    """Dew point over water [degC]; NaN where humidity is not above 0."""
    safe = np.where(rh_pct > 0, rh_pct, np.nan)
    strength = np.log(safe / 100.0) + MAGNUS_A * air_c / (MAGNUS_B_C + air_c)
    return np.asarray(MAGNUS_B_C * strength / (MAGNUS_A - strength))


def dew_point_spread_k(air_c: Floats, rh_pct: Floats, dew_c: Floats | None = None) -> Floats:
    """How far the air is above its dew point [K]; a measured dew point goes before a computed."""
    computed = dew_point_c(air_c, rh_pct)
    if dew_c is None:
        return np.asarray(air_c - computed)
    return np.asarray(air_c - np.where(np.isfinite(dew_c), dew_c, computed))


def nacl_saturation_rh_pct(air_c: Floats) -> Floats:
    """Humidity over saturated NaCl [%]: 69.20 exp(25/T), 10 to 40 C (read: CRC Handbook, 15)."""
    return np.asarray(69.20 * np.exp(25.0 / (air_c + 273.15)))


def is_time_of_wetness(rh_pct: Floats, air_c: Floats) -> Bools:
    """Hours of the ISO 9223 kind (as recalled); False where weather is missing."""
    return np.asarray((rh_pct > TOW_RH_PCT) & (air_c > TOW_AIR_C))


def wet_hours(
    rh_pct: Floats,
    rain_mm: Floats | None = None,
    wets_pct: float = WETS_RH_PCT,
    dries_pct: float = DRIES_RH_PCT,
) -> Bools:
    """Wet by humidity with hysteresis, or by rain. An hour without humidity ends the episode."""
    assert dries_pct <= wets_pct, "a surface dries at a lower humidity than it wets"
    wets = rh_pct >= wets_pct
    if rain_mm is not None:
        wets = wets | (rain_mm > 0)
    dries = ~wets & ((rh_pct < dries_pct) | ~np.isfinite(rh_pct))
    places = np.arange(rh_pct.shape[0])
    last_wetting = np.maximum.accumulate(np.where(wets, places, -1))
    last_drying = np.maximum.accumulate(np.where(dries, places, -1))
    return np.asarray(last_wetting > last_drying)


@dataclass(frozen=True, slots=True, eq=False)
class Episodes:
    """Wet episodes on an hourly grid: place of the first hour, place after the last one."""

    first: Ints
    after: Ints

    @property
    def hours(self) -> Ints:
        """Length of each [h]."""
        return np.asarray(self.after - self.first)


def episodes_of(wet: Bools) -> Episodes:
    """Runs of wet hours."""
    edges = np.diff(np.concatenate(([0], wet.astype(np.int8), [0])))
    return Episodes(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1))


def dry_hours_before(wet: Bools) -> Ints:
    """For each hour: length of the latest unbroken dry spell before the episode it stands in [h].

    For a dry hour: dry hours so far. The clock of hydrophobicity recovery runs in dry hours only
    (inference from plasma-treated silicone that recovers in air and hardly in water; read).
    """
    dry = ~wet
    places = np.arange(wet.shape[0])
    last_wet = np.maximum.accumulate(np.where(wet, places, -1))
    run = np.where(dry, places - last_wet, 0)
    starts = np.maximum.accumulate(np.where(wet & np.roll(dry, 1), places, 0))
    before = np.where(starts > 0, run[np.maximum(starts - 1, 0)], 0)
    return np.asarray(np.where(dry, run, before))


def cleaning_rain(rain_mm: Floats) -> Bools:
    """Hours at whose end at least CLEANING_RAIN_MM have fallen within CLEANING_RAIN_HOURS."""
    total = np.cumsum(np.nan_to_num(rain_mm))
    earlier = np.concatenate((np.zeros(CLEANING_RAIN_HOURS), total))[: total.shape[0]]
    return np.asarray(total - earlier >= CLEANING_RAIN_MM - 1e-9)


def salt_exposure(wind_m_s: Floats, wind_from_deg: Floats, coast_bearing_deg: float) -> Floats:
    """Relative salt brought by each hour: onshore part of the wind times (speed - 4 m/s) squared.

    A design choice with the growth of spray as wind cubed (common practice); unit (m/s)^3 h, only
    to rank hours and months of one site. NaN where wind is missing.
    """
    angle = np.radians(wind_from_deg - coast_bearing_deg)
    onshore = np.maximum(np.cos(angle), np.cos(np.radians(ONSHORE_WITHIN_DEG)))
    return np.asarray(
        wind_m_s * np.maximum(onshore, 0.0) * np.maximum(wind_m_s - SALT_WIND_M_S, 0.0) ** 2
    )
