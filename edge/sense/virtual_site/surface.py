"""The surfaces: salt comes, water comes, the film conducts, heats, dries in bands, is washed.

All insulators of a site are stepped together, one entry of each array an insulator. Each surface is
two zones in series: the main surface, and the waist, the narrow part where the current is densest
and the film dries first.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.sense.virtual_site.plan import SitePlan, SurfaceKind
from edge.sense.virtual_site.weather import Air
from edge.sense.virtual_site.wetting import (
    EFFLORESCENCE_PCT,
    NUCLEATION_PCT,
    bound_water_ratio,
    deliquescence_rh_pct,
)

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

DEPOSIT_MG_CM2_S = 7e-9
"""Salt deposit at 1 m/s onshore; grows with the cube of the wind (common practice). Design choice:
ten minutes at 12 m/s bring what a gale brings in a day."""

HEAT_OF_VAPORISATION_J_G = 2_450.0
"""Of water near 20 C (as recalled)."""

FOG_CATCH = 0.10
"""Share of the fog's water, carried by the wind, that settles on the surface (design choice)."""
STILL_AIR_M_S = 0.5
"""Fog settles at least as if this wind blew."""
RAIN_CATCH = 0.5
"""Share of the rain that reaches the shedded surface (design choice)."""
FILM_MOST_UM = 110.0
"""A thicker film runs off and carries salt with it (design choice)."""
RUNOFF_SALT = 0.35
"""Salt in the run-off against the film's mean (design choice): undersides wash badly."""

SETTLE_S = 150.0
"""Time constant towards the water that the salt binds (design choice)."""
CREEP_S = 45.0
"""Time constant with which water creeps from the main surface back into the waist."""
MAIN_HEAT = 0.06
"""Share of the mean heating that evaporates water of the main surface; the rest warms air and body
(design choice)."""
WAIST_HEAT = 1.2
"""Heating of the waist against the mean, where it evaporates water (design choice)."""
BAND_LEAST_SHARE = 0.035
"""Width of the dry bands as they open, against the creepage path (design choice)."""
BAND_GROWTH_CM_S_KW = 0.12
"""Widening of the band for each kW/m2 that arcs bring to it (design choice)."""
BAND_SHRINK_S = 20.0
"""Time constant with which the wet edges close in again by creeping alone (design choice)."""
BAND_CLOSING_UM_S = 0.05
"""Water falling on the surface that doubles that speed (design choice)."""
DRY_RH_PCT = 72.0
"""Below it a surface without run-off water rests, and hydrophobicity recovers: in dry hours only
(inference from plasma-treated silicone recovering in air, not in water)."""
ARC_LOSS_S = 5_000.0
"""Time constant of the loss of hydrophobicity under dense arcing (design choice)."""


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """What does not change: shape (insulators,) each, units in the names."""

    creepage_cm: Floats
    form_factor: Floats
    area_m2: Floats
    exposure: Floats
    hydrophobicity_most: Floats
    soak_s: Floats
    recovery_s: Floats
    silicone: Bools
    crest_v: float


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """What changes: shape (insulators,) each.

    salt_mg_cm2 as NaCl; water_um, waist_um: water on the two zones; dissolved: the salt is a brine;
    hydrophobicity 0 to 1; band_cm: width of the dry band when there is one.
    """

    salt_mg_cm2: Floats
    water_um: Floats
    waist_um: Floats
    dissolved: Bools
    hydrophobicity: Floats
    band_cm: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Heating:
    """What the second before did to the surfaces: mean powers [W], share of half-cycles arcing."""

    film_w: Floats
    arc_w: Floats
    arcing_share: Floats


def body_of(plan: SitePlan) -> Body:
    """The fixed side of a plan's insulators."""
    units = plan.insulators
    return Body(
        creepage_cm=np.array([unit.creepage_cm for unit in units]),
        form_factor=np.array([unit.form_factor for unit in units]),
        area_m2=np.array([unit.area_m2 for unit in units]),
        exposure=np.array([unit.exposure for unit in units]),
        hydrophobicity_most=np.array([unit.hydrophobicity_most for unit in units]),
        soak_s=3_600.0 * np.array([unit.soak_h for unit in units]),
        recovery_s=3_600.0 * np.array([unit.recovery_h for unit in units]),
        silicone=np.array([unit.kind is not SurfaceKind.CERAMIC for unit in units]),
        crest_v=plan.crest_v,
    )


def surface_at_dusk(plan: SitePlan) -> Surface:
    """Dry surfaces with the deposit that the plan says."""
    count = len(plan.insulators)
    return Surface(
        salt_mg_cm2=np.array([unit.salt_mg_cm2 for unit in plan.insulators]),
        water_um=np.zeros(count),
        waist_um=np.zeros(count),
        dissolved=np.zeros(count, dtype=bool),
        hydrophobicity=np.array([unit.hydrophobicity for unit in plan.insulators]),
        band_cm=BAND_LEAST_SHARE * np.array([unit.creepage_cm for unit in plan.insulators]),
    )


def step_surface(
    body: Body, surface: Surface, air: Air, heating: Heating, step_s: float
) -> Surface:
    """The surfaces `step_s` later (about a second; every decay is taken implicitly)."""
    dissolved = _dissolved(surface, air)
    drops_um_s = (
        FOG_CATCH * air.fog_g_m3 * max(air.wind_m_s, STILL_AIR_M_S)
        + RAIN_CATCH * air.rain_mm_h / 3.6
    )
    water, runoff_um = _wetted(body, surface, dissolved, air, heating, drops_um_s, step_s)
    salt = surface.salt_mg_cm2 / (1.0 + RUNOFF_SALT * runoff_um / np.maximum(water, 1.0))
    salt += DEPOSIT_MG_CM2_S * air.onshore_m_s**3 * body.exposure * step_s
    return Surface(
        salt_mg_cm2=salt,
        water_um=water,
        waist_um=_waist(body, surface, water, heating, drops_um_s, step_s),
        dissolved=dissolved,
        hydrophobicity=_hydrophobicity(body, surface, water, air, heating, step_s),
        band_cm=_band(body, surface, heating, drops_um_s, step_s),
    )


def _dissolved(surface: Surface, air: Air) -> Bools:
    """Deliquescence with hysteresis; fog and rain drops dissolve whatever the humidity."""
    begins = air.rh_pct >= deliquescence_rh_pct(air.air_c) + NUCLEATION_PCT
    raining = air.rain_mm_h > 0.05
    if begins or raining:
        return np.ones_like(surface.dissolved)
    return surface.dissolved & (air.rh_pct > EFFLORESCENCE_PCT)


def _wetted(
    body: Body,
    surface: Surface,
    dissolved: Bools,
    air: Air,
    heating: Heating,
    drops_um_s: float,
    step_s: float,
) -> tuple[Floats, Floats]:
    """Water on the main surface [um] and what ran off in this step [um]."""
    bound_um = np.where(dissolved, 10.0 * surface.salt_mg_cm2 * bound_water_ratio(air.rh_pct), 0.0)
    thirst = min(1.0, max(0.0, 100.0 - air.rh_pct) / 12.0)
    settles = np.where(surface.water_um > bound_um, thirst, 1.0) * step_s / SETTLE_S
    heat_um_s = MAIN_HEAT * (heating.film_w + heating.arc_w) / body.area_m2
    heat_um_s /= HEAT_OF_VAPORISATION_J_G
    loss = settles + heat_um_s * step_s / np.maximum(surface.water_um, 0.5)
    water = (surface.water_um + drops_um_s * step_s + settles * bound_um) / (1.0 + loss)
    runoff = np.maximum(water - FILM_MOST_UM, 0.0)
    return water - runoff, runoff


def _waist(
    body: Body,
    surface: Surface,
    water: Floats,
    heating: Heating,
    drops_um_s: float,
    step_s: float,
) -> Floats:
    """Water of the waist [um]: creeps in, falls in, boils off."""
    heat_um_s = WAIST_HEAT * (heating.film_w + heating.arc_w) / body.area_m2
    heat_um_s /= HEAT_OF_VAPORISATION_J_G
    creeps = step_s / CREEP_S
    loss = creeps + heat_um_s * step_s / np.maximum(surface.waist_um, 0.3)
    waist = (surface.waist_um + drops_um_s * step_s + creeps * water) / (1.0 + loss)
    return np.asarray(np.minimum(waist, water))


def _hydrophobicity(
    body: Body, surface: Surface, water: Floats, air: Air, heating: Heating, step_s: float
) -> Floats:
    """Lost while wet and under arcs, regained in dry hours up to what the surface can."""
    wet = water > 1.0
    loss = step_s * (np.where(wet, 1.0, 0.0) / body.soak_s + heating.arcing_share / ARC_LOSS_S)
    rests = ~wet & (air.rh_pct < DRY_RH_PCT)
    gain = np.where(rests, step_s / body.recovery_s, 0.0)
    missing = np.maximum(body.hydrophobicity_most - surface.hydrophobicity, 0.0)
    return np.asarray(surface.hydrophobicity / (1.0 + loss) + gain * missing)


def _band(
    body: Body, surface: Surface, heating: Heating, drops_um_s: float, step_s: float
) -> Floats:
    """Width of the dry band [cm]: arcs widen it, the wet edges close it."""
    widened = surface.band_cm + BAND_GROWTH_CM_S_KW * heating.arc_w / body.area_m2 / 1e3 * step_s
    shrinks = step_s / BAND_SHRINK_S * (1.0 + drops_um_s / BAND_CLOSING_UM_S)
    band = (widened + shrinks * BAND_LEAST_SHARE * body.creepage_cm) / (1.0 + shrinks)
    return np.asarray(np.minimum(band, 0.3 * body.creepage_cm))
