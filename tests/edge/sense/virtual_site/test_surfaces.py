"""Salt, water, hydrophobicity and bands, stepped without any electricity or with a given one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from edge.sense.virtual_site.film import film_of
from edge.sense.virtual_site.surface import (
    Body,
    Heating,
    Surface,
    body_of,
    step_surface,
    surface_at_dusk,
)
from edge.sense.virtual_site.weather import Air
from edge.sense.virtual_site.wetting import (
    bound_water_ratio,
    brine_conductivity_s_m,
    deliquescence_rh_pct,
    dew_point_c,
)
from tests.edge.sense.virtual_site.builders import (
    DRIZZLE,
    DRY_AIR,
    FOG,
    RAIN,
    insulator,
    rubber,
    site_plan,
)

SALT_WIND = replace(DRY_AIR, rh_pct=70.0, wind_m_s=12.0, onshore_m_s=12.0)


def _cold(count: int, arcing: float = 0.0, film_w: float = 0.0) -> Heating:
    return Heating(np.full(count, film_w), np.zeros(count), np.full(count, arcing))


def _after(
    body: Body, surface: Surface, air: Air, seconds: int, heating: Heating | None = None
) -> Surface:
    heating = heating or _cold(surface.water_um.shape[0])
    for _ in range(seconds):
        surface = step_surface(body, surface, air, heating, 1.0)
    return surface


def test_onshore_wind_brings_salt_by_the_cube_and_by_exposure() -> None:
    plan = site_plan(insulator(), insulator(name="lee", exposure=0.5))
    body, start = body_of(plan), surface_at_dusk(plan)
    gain = _after(body, start, SALT_WIND, 60).salt_mg_cm2 - start.salt_mg_cm2
    half_wind = replace(SALT_WIND, onshore_m_s=6.0)
    lesser = _after(body, start, half_wind, 60).salt_mg_cm2 - start.salt_mg_cm2
    assert gain[0] == pytest.approx(2.0 * gain[1])
    assert gain[0] == pytest.approx(8.0 * lesser[0])
    offshore = _after(body, start, DRY_AIR, 60)
    assert offshore.salt_mg_cm2 == pytest.approx(start.salt_mg_cm2)


def test_salt_dissolves_above_75_percent_and_stays_a_brine_down_to_45() -> None:
    plan = site_plan()
    body, surface = body_of(plan), surface_at_dusk(plan)
    told = []
    for rh_pct in (70.0, 76.0, 80.0, 70.0, 50.0, 44.0, 70.0):
        surface = _after(body, surface, replace(DRY_AIR, rh_pct=rh_pct), 5)
        told.append(bool(surface.dissolved[0]))
    assert told == [False, False, True, True, True, False, False]


def test_rain_washes_and_drizzle_hardly() -> None:
    plan = site_plan(insulator(), rubber(name="rubber"))
    body, start = body_of(plan), surface_at_dusk(plan)
    assert np.all(_after(body, start, RAIN, 900).salt_mg_cm2 < 0.25 * start.salt_mg_cm2)
    assert np.all(_after(body, start, DRIZZLE, 600).salt_mg_cm2 > 0.95 * start.salt_mg_cm2)


def test_fog_builds_a_film_and_dry_air_takes_it_away() -> None:
    plan = site_plan()
    body, surface = body_of(plan), surface_at_dusk(plan)
    fogged = _after(body, surface, FOG, 900)
    assert film_of(body, fogged, 12.0).whole_s[0] > 1e-6
    dried = _after(body, fogged, DRY_AIR, 3_600)
    assert film_of(body, dried, 12.0).whole_s[0] < 1e-9


def test_heating_dries_the_waist_first() -> None:
    plan = site_plan()
    body = body_of(plan)
    fogged = _after(body, surface_at_dusk(plan), FOG, 900)
    heated = _after(body, fogged, FOG, 60, _cold(1, film_w=400.0))
    assert film_of(body, fogged, 12.0).dry_share[0] == 0.0
    assert film_of(body, heated, 12.0).dry_share[0] > 0.9
    assert heated.water_um[0] > 0.5 * fogged.water_um[0]
    rewetted = _after(body, heated, FOG, 300)
    assert film_of(body, rewetted, 12.0).dry_share[0] == 0.0


def test_hydrophobicity_goes_with_wetting_faster_with_arcs_and_returns_in_dry_hours_only() -> None:
    plan = site_plan(rubber(soak_h=2.0, recovery_h=4.0))
    body, start = body_of(plan), surface_at_dusk(plan)
    soaked = _after(body, start, FOG, 1_800)
    arced = _after(body, start, FOG, 1_800, _cold(1, arcing=1.0))
    assert 0.95 > soaked.hydrophobicity[0] > arced.hydrophobicity[0]
    still_wet = _after(body, arced, replace(FOG, fog_g_m3=0.0), 600)
    assert still_wet.hydrophobicity[0] <= arced.hydrophobicity[0]
    rested = _after(body, arced, DRY_AIR, 7_200)
    assert rested.hydrophobicity[0] > arced.hydrophobicity[0] + 0.05


def test_separate_drops_make_no_path() -> None:
    plan = site_plan(rubber())
    body = body_of(plan)
    film = film_of(body, _after(body, surface_at_dusk(plan), FOG, 1_200), 12.0)
    assert film.whole_s[0] == 0.0
    assert film.beaded[0] > 0.5


@pytest.mark.parametrize(("air_c", "rh_pct"), [(10, 75.59), (25, 75.25), (40, 74.95)])
def test_deliquescence_agrees_with_the_handbook_formula(air_c: float, rh_pct: float) -> None:
    assert deliquescence_rh_pct(air_c) == pytest.approx(rh_pct, abs=0.05)


@pytest.mark.parametrize(
    ("kg_m3", "s_m"), [(2.5, 0.43), (5, 0.83), (10, 1.6), (20, 3.0), (80, 10.0), (224, 20.0)]
)
def test_brine_conducts_as_the_recalled_salinity_table_says(kg_m3: float, s_m: float) -> None:
    assert brine_conductivity_s_m(np.array([kg_m3]), 20.0)[0] == pytest.approx(s_m, rel=0.06)


def test_brine_holds_more_water_in_moister_air() -> None:
    ratios = [bound_water_ratio(rh) for rh in (60.0, 75.0, 90.0, 97.0)]
    assert ratios == sorted(ratios)
    assert bound_water_ratio(99.9) == bound_water_ratio(98.5)


@pytest.mark.parametrize(
    ("air_c", "rh_pct", "dew_c"), [(20, 50, 9.255), (10, 95, 9.235), (0, 80, -3.040)]
)
def test_dew_point_agrees_with_the_table(air_c: float, rh_pct: float, dew_c: float) -> None:
    assert dew_point_c(air_c, rh_pct) == pytest.approx(dew_c, abs=0.001)
