"""Wetness against outside truth: real weather files, salt in its own handbook, plain geometry."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pvlib
import pytest

from gateway.trends import wetness
from tests.gateway.trends.years import FILES, real_weather


def test_dew_point_agrees_with_the_weather_file_within_four_tenths_of_a_degree() -> None:
    text = (Path(pvlib.__file__).parent / "data" / FILES[0]).read_text().splitlines()[1:]
    written = np.array([float(line[73:77]) / 10.0 for line in text])
    rh, air = real_weather(FILES[0])
    away = np.abs(wetness.dew_point_c(air, rh) - written)
    assert away.shape == (8_760,)
    assert float(away.max()) < 0.40
    assert float(np.quantile(away, 0.95)) == pytest.approx(0.164, abs=0.001)


def test_dew_points_of_the_published_formula_are_met() -> None:
    rows = {(0.0, 50.0): -9.202, (10.0, 80.0): 6.706, (25.0, 95.0): 24.142, (30.0, 60.0): 21.385}
    for (air, rh), dew in rows.items():
        assert wetness.dew_point_c(np.array([air]), np.array([rh]))[0] == pytest.approx(
            dew, abs=1e-3
        )
    assert wetness.vapour_pressure_hpa(np.array([20.0]))[0] == pytest.approx(23.3260, abs=1e-4)


@pytest.mark.parametrize(
    ("file", "hours", "or_equal", "salt"),
    [(FILES[0], 2721, 2803, 4000), (FILES[1], 2705, 2917, 4205)],
)
def test_time_of_wetness_of_two_coasts_is_counted_exactly(
    file: str, hours: int, or_equal: int, salt: int
) -> None:
    rh, air = real_weather(file)
    assert int(wetness.is_time_of_wetness(rh, air).sum()) == hours
    assert int(((rh >= wetness.TOW_RH_PCT) & (air > wetness.TOW_AIR_C)).sum()) == or_equal
    assert int((rh >= wetness.WETS_RH_PCT).sum()) == salt


def test_salt_takes_up_water_where_the_handbook_says() -> None:
    found = wetness.nacl_saturation_rh_pct(np.array([10.0, 25.0, 40.0]))
    assert found == pytest.approx([75.59, 75.25, 74.95], abs=0.005)
    assert found == pytest.approx([75.3, 75.4, 75.2], abs=0.5)  # Wexler and Hasegawa 1954, about


def test_a_flutter_between_the_two_limits_is_one_episode_not_many() -> None:
    rh = np.array([60.0, 76, 74, 76, 70, 74, 66, 64, 70, 74, 76])
    wet = wetness.wet_hours(rh)
    assert wet.tolist() == [False, *[True] * 6, *[False] * 3, True]
    assert wetness.episodes_of(wet).hours.tolist() == [6, 1]
    careless = wetness.episodes_of(wetness.wet_hours(rh, None, 75.0, 75.0))
    assert careless.hours.tolist() == [1, 1, 1]


def test_rain_wets_a_surface_in_dry_air() -> None:
    rain = np.array([0.0, 1.0, 0.0])
    assert wetness.wet_hours(np.array([50.0, 50.0, 50.0]), rain).tolist() == [False, True, False]


def test_an_hour_without_humidity_is_not_wet() -> None:
    assert wetness.wet_hours(np.array([90.0, np.nan, 70.0])).tolist() == [True, False, False]


def test_dry_hours_before_an_episode_are_those_of_the_last_unbroken_spell() -> None:
    wet = np.array([1, 0, 0, 1, 1, 0, 0, 0, 1], dtype=bool)
    assert wetness.dry_hours_before(wet).tolist() == [0, 1, 2, 2, 2, 1, 2, 3, 3]


def test_cleaning_rain_is_a_sum_over_six_hours() -> None:
    rain = np.array([2.0, 2.0, 0.9, 0.1, 0, 0, 0, 0, 5.0])
    assert np.flatnonzero(wetness.cleaning_rain(rain)).tolist() == [3, 4, 5, 8]


def test_only_wind_from_the_sea_brings_salt() -> None:
    speed = np.full(4, 10.0)
    found = wetness.salt_exposure(speed, np.array([90.0, 150.0, 180.0, 270.0]), 90.0)
    assert found == pytest.approx([360.0, 180.0, 0.0, 0.0], abs=1e-9)
