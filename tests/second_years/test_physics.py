"""The simulated years do what their page says, so that a failing trial accuses the program."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.second_years.climate import COASTS, YEAR_H, Climate, climate, saturation_hpa
from tests.second_years.site import rows_of, stage
from tests.second_years.surface import (
    CRYSTALLISES,
    DISSOLVES,
    NIGHT_SD,
    films,
    fresh_salt,
    lowered_by,
    night_levels,
    onset_activity,
    ordinary,
    surface_activity,
    truth,
)


def still_air(activity: np.ndarray, rain_mm: np.ndarray | float = 0.0) -> Climate:
    """Air of these activities at 20 degC, without sun, under cloud, in a gale that stirs it."""
    flat = np.ones(activity.size)
    dew = np.interp(activity * saturation_hpa(20 * flat), saturation_hpa(np.arange(-60.0, 40)),
                    np.arange(-60.0, 40))  # fmt: skip
    return Climate(
        COASTS[0], np.arange(activity.size), 20 * flat, dew, activity, rain_mm * flat, 60 * flat,
        100 * flat, 0 * flat, flat,
    )  # fmt: skip


def film_share(activity: np.ndarray) -> np.ndarray:
    """Of one ordinary surface in this air."""
    weather = still_air(activity)
    these = ordinary(np.random.default_rng(1), activity.size, 1)
    return films(weather, surface_activity(weather, these.sun), these)[0][:, 0]


@pytest.mark.parametrize("coast", range(3))
def test_every_coast_has_wet_nights_and_dry_days(coast: int) -> None:
    weather = climate(COASTS[coast], np.random.default_rng(3), 1)
    assert 2000 < (weather.activity > 0.8).sum() < 6000
    assert (weather.activity < 0.65).sum() > 500
    assert weather.activity.max() <= 1.0


def test_no_two_years_are_alike() -> None:
    weather = climate(COASTS[0], np.random.default_rng(3), 2)
    first, second = weather.activity[:YEAR_H], weather.activity[YEAR_H:]
    assert np.mean(first == second) < 0.05


def test_a_film_that_has_formed_stays_in_air_in_which_none_forms() -> None:
    between = (DISSOLVES + CRYSTALLISES) / 2
    wetted = film_share(np.r_[np.full(48, 0.9), np.full(48, between)])
    never = film_share(np.full(96, between))
    dried = film_share(np.r_[np.full(48, 0.9), np.full(48, 0.4), np.full(48, between)])
    assert wetted[-1] > 5 * never[-1]
    assert dried[-1] == pytest.approx(never[-1], rel=0.1)


def test_a_film_has_a_plateau() -> None:
    wetter = [film_share(np.full(72, a))[-1] for a in (0.8, 0.9, 0.96, 0.98, 0.99)]
    assert wetter[0] < 0.3
    assert wetter[-1] / wetter[-2] < 1.1
    assert wetter[-1] > 0.9


def test_twice_the_lasting_salt_carries_twice_the_current_in_the_same_weather() -> None:
    one, _ = stage([1], 0, 3)
    doubled = one.changed("load", 1, YEAR_H, 2.0)
    plain = truth(one.weather, one.surfaces, np.random.default_rng(5)).film_ma
    more = truth(doubled.weather, doubled.surfaces, np.random.default_rng(5)).film_ma
    assert np.allclose(more[YEAR_H:, 1], 2 * plain[YEAR_H:, 1])
    assert np.array_equal(more[:, [0, 2]], plain[:, [0, 2]])


def test_an_onset_lowered_by_ten_per_cent_is() -> None:
    half_x = np.array([1.7, 2.0, 2.3])
    fall = lowered_by(half_x, 10.0)
    assert onset_activity(half_x) - onset_activity(half_x - fall) == pytest.approx(0.10)


def test_reversible_loss_is_back_after_48_dry_hours() -> None:
    weather = still_air(np.r_[np.full(60, 0.93), np.full(50, 0.4)])
    these = ordinary(np.random.default_rng(1), 110, 1)
    these = replace(these, loses_h=0 * these.load + 10, regains_h=0 * these.load + 20)
    lost = films(weather, surface_activity(weather, these.sun), these)[1][:, 0]
    assert lost[59] > 0.99
    assert lost[-1] < 0.1


def test_rain_takes_fresh_salt_and_sea_wind_brings_it() -> None:
    dry = still_air(np.full(240, 0.7))
    shower = replace(dry, rain_mm=np.where(np.arange(240) == 120, 20.0, 0.0))
    brought = fresh_salt(dry, np.random.default_rng(1))
    washed = fresh_salt(shower, np.random.default_rng(1))
    assert np.all(np.diff(brought) > 0)
    assert washed[120] < 0.2 * washed[119]


def test_nights_scatter_by_half_a_log_unit_and_resemble_the_night_before() -> None:
    weather = climate(COASTS[0], np.random.default_rng(3), 2)
    hourly = np.concatenate(
        [night_levels(weather, np.random.default_rng(k), 8)[::24] for k in range(6)], axis=1
    )
    levels = hourly - hourly.mean(axis=0)
    assert levels.std() == pytest.approx(NIGHT_SD, abs=0.05)
    next_to = np.mean(levels[1:] * levels[:-1]) / levels.var()
    assert next_to == pytest.approx(0.35, abs=0.08)
    skewness = np.mean(levels**3) / levels.std() ** 3
    assert skewness > 0.3
    beside = np.corrcoef(levels[:, :8].T)[np.triu_indices(8, 1)].mean()
    assert beside == pytest.approx(0.5, abs=0.15)


def test_rows_have_gaps_and_say_what_the_true_current_was() -> None:
    one, rng = stage([4], 1, 2, rich=True)
    rows, true = rows_of(one, rng)
    columns = rows.columns.insulators["P01"]
    places = columns.start_us // 3_600_000_000 - int(one.weather.utc_h[0])
    assert 0 < 2 * YEAR_H - places.size < 2000
    wet = (true.film_ma[places, 0] > 1) & ~one.loggers.dead[places]
    assert columns.in_phase_na is not None
    error = columns.in_phase_na[wet] * 1e-6 / true.film_ma[places, 0][wet] - 1
    assert np.abs(np.median(error)) < 0.06
