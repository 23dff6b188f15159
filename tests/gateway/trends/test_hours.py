"""Rows of any length and quality onto the hourly grid."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from edge.quantities import STATES, State
from gateway.trends.columns import HOUR_US, Floats, IntervalColumns, WeatherColumns
from gateway.trends.hours import SiteHours, current_hours, site_hours
from tests.gateway.trends.years import START_US


def weather(rh: list[float], minutes: int = 60, **more: Floats) -> WeatherColumns:
    step = minutes * 60_000_000
    start = START_US + np.arange(len(rh)) * step
    return WeatherColumns(start, np.full(len(rh), step), np.array(rh), **more)


def grid(rh: list[float], hours: int) -> SiteHours:
    return site_hours(weather(rh), START_US, START_US + hours * HOUR_US)


def rows(rms_ma: list[float], minutes: int, **more: object) -> IntervalColumns:
    step = minutes * 60_000_000
    start = START_US + np.arange(len(rms_ma)) * step
    found = IntervalColumns(start, np.full(len(rms_ma), step), np.array(rms_ma) * 1e6)
    return replace(found, **more)  # type: ignore[arg-type]


def test_minute_rows_and_their_hourly_mean_square_give_the_same_hour() -> None:
    site = grid([80.0, 90.0], 2)
    minutes = [1.0] * 30 + [3.0] * 30 + [2.0] * 60
    fine = current_hours(rows(minutes, 1), site).current_ma
    coarse = current_hours(rows([np.sqrt(5.0), 2.0], 60), site).current_ma
    assert fine == pytest.approx(coarse)


def test_impossible_humidity_is_left_out_and_said() -> None:
    site = grid([80.0, -3.0, 140.0, 101.0], 4)
    assert site.rh_pct[[0, 3]].tolist() == [80.0, 100.0]
    assert np.isnan(site.rh_pct[1:3]).all()
    assert site.found.said == ("impossible-weather",)


def test_humidity_as_a_fraction_is_not_taken_for_per_cent() -> None:
    site = grid([0.5, 0.9, 1.0], 3)
    assert np.isnan(site.rh_pct).all()
    assert site.found.said == ("humidity-not-in-per-cent",)


def test_air_in_kelvin_is_left_out_and_said() -> None:
    given = weather([80.0], air_c=np.array([290.0]))
    site = site_hours(given, START_US, START_US + HOUR_US)
    assert np.isnan(site.air_c[0])
    assert site.found.said == ("impossible-weather",)


def test_ten_minute_weather_is_averaged_and_its_rain_added() -> None:
    given = weather([70.0] * 3 + [90.0] * 3, 10, rain_mm=np.full(6, 0.5))
    site = site_hours(given, START_US, START_US + HOUR_US)
    assert site.rh_pct[0] == pytest.approx(80.0)
    assert site.rain_mm[0] == pytest.approx(3.0)


def test_wind_about_north_averages_to_north() -> None:
    given = weather([80.0] * 2, 30, wind_from_deg=np.array([350.0, 10.0]))
    site = site_hours(given, START_US, START_US + HOUR_US)
    assert min(site.wind_from_deg[0], 360.0 - site.wind_from_deg[0]) < 1e-6


def test_dead_and_doubted_rows_do_not_enter() -> None:
    site = grid([80.0] * 3, 3)
    state = np.array([STATES.index(one) for one in (State.WET, State.DE_ENERGISED, State.WET)])
    doubted = np.array([False, False, True])
    found = current_hours(rows([1.0, 1.0, 1.0], 60, state=state, doubted=doubted), site)
    assert np.isfinite(found.current_ma).tolist() == [True, False, False]
    assert found.cover_s.tolist() == [3600.0] * 3


def test_rows_that_overlap_keep_the_first_and_are_said() -> None:
    given = rows([1.0, 9.0, 2.0], 60)
    given = replace(given, start_us=START_US + np.array([0, HOUR_US // 2, HOUR_US]))
    found = current_hours(given, grid([80.0] * 2, 2))
    assert found.current_ma.tolist() == [1.0, 2.0]
    assert found.found.said == ("overlapping-rows",)


def test_a_clock_that_goes_back_is_sorted_and_said() -> None:
    given = replace(rows([1.0, 2.0], 60), start_us=START_US + np.array([HOUR_US, 0]))
    found = current_hours(given, grid([80.0] * 2, 2))
    assert found.current_ma.tolist() == [2.0, 1.0]
    assert found.found.said == ("rows-out-of-order",)


def test_with_a_voltage_the_current_is_that_at_the_usual_voltage() -> None:
    voltage = np.array([10e6, 10e6, 11e6])
    found = current_hours(rows([1.0, 1.0, 1.1], 60, voltage_mv=voltage), grid([80.0] * 3, 3))
    assert found.conductance
    assert found.current_ma == pytest.approx([1.0, 1.0, 1.0])


def test_without_rms_the_charge_or_the_peak_serve_and_are_said() -> None:
    site = grid([80.0], 1)
    sine_ma, hour_s = 2.0, 3600.0
    mean_ma = sine_ma * 2 * np.sqrt(2) / np.pi
    charge = rows([0.0], 60, rms_na=None, charge_nc=np.array([int(mean_ma * hour_s * 1e6)]))
    found = current_hours(charge, site)
    assert found.current_ma[0] == pytest.approx(sine_ma, rel=1e-6)
    assert found.found.said == ("rms-from-charge",)
    peak = rows([0.0], 60, rms_na=None, peak_ua=np.array([sine_ma * np.sqrt(2) * 1e3]))
    assert current_hours(peak, site).current_ma[0] == pytest.approx(sine_ma)
