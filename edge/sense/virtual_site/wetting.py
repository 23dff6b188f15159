"""Salt and water: when salt dissolves, how much water it binds, how well the brine conducts."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

NUCLEATION_PCT = 2.5
"""Humidity above saturation at which dry salt begins to dissolve. Clean crystals need 5 % more
(read: abstract of 'Nucleated deliquescence of salt'); dirty ones need less (design choice)."""

EFFLORESCENCE_PCT = 45.0
"""Humidity at which a brine dries out again (as recalled)."""

NACL_G_MOL = 58.44
WATER_MOL_KG = 55.51
SOLUBLE_KG_M3 = 317.0
"""Salt in a cubic metre of saturated brine (as recalled); no more dissolves."""

ACTIVITY_MOST = 0.985
"""Water that salt binds from the air is capped here; beyond, fog drops bring the water."""


def deliquescence_rh_pct(air_c: float) -> float:
    """Humidity over saturated NaCl [%]: 69.20 exp(25/T) (read: CRC Handbook sec. 15, 10-40 C)."""
    return 69.20 * math.exp(25.0 / (air_c + 273.15))


def bound_water_ratio(rh_pct: float) -> float:
    """Grams of water that a gram of dissolved NaCl holds in balance with the air.

    Ideal solution of two ions, molality = 55.51 (1/aw - 1) / 2; within about 15 % of recalled
    molalities between 85 and 99 % humidity.
    """
    activity = min(rh_pct / 100.0, ACTIVITY_MOST)
    molality = WATER_MOL_KG * (1.0 / activity - 1.0) / 2.0
    return 1_000.0 / (NACL_G_MOL * molality)


def brine_conductivity_s_m(salinity_kg_m3: Floats, air_c: float) -> Floats:
    """Conductivity [S/m] of a brine. The inverse of Sa = (5.7 s)^1.03 (IEC 60507, as recalled).

    That relation holds up to 0.4 S/m only; the saturating term brings it within 5 % of the recalled
    salinity table of salt-fog tests up to 224 kg/m3 (computed). Two per cent a degree about 20 C
    (common practice).
    """
    salinity = np.minimum(salinity_kg_m3, SOLUBLE_KG_M3)
    dilute = salinity ** (1.0 / 1.03) / 5.7
    return np.asarray(dilute / (1.0 + dilute / 50.0) * (1.0 + 0.02 * (air_c - 20.0)))


def dew_point_c(air_c: float, rh_pct: float) -> float:
    """Dew point over water [C] by WMO-No. 8 Annex 4.B (constants read in a station manual)."""
    warmth = 17.62 * air_c / (243.12 + air_c)
    strength = math.log(max(rh_pct, 1.0) / 100.0) + warmth
    return 243.12 * strength / (17.62 - strength)
