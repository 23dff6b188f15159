"""Waves whose harmonics are known in closed form, measured through `step` from end to end.

The numbers in the tables are the closed forms of an amplitude-1 wave, computed, not read anywhere:
dead band a: b1 = 1 - (2a - sin 2a)/pi, b_n = (2/pi)[sin((n+1)a)/(n+1) - sin((n-1)a)/(n-1)]; the
others by the same integrals. The waves are band-limited below 0.4 of the sampling rate, for a step
that falls between samples is known no better than about 1.5 / (samples a cycle) by any method.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest

from edge.measure.windows import WindowTable
from tests.edge.measure.builders import (
    Wave,
    angle,
    band_limited,
    clipped,
    coefficients,
    columns,
    dead_band,
    delayed,
    describe,
    measured,
    orders_below,
    ratio,
    sine,
    square,
    threshold_gap,
    triangle,
    whole,
)

AMPLITUDE_MA = 20.0

FORMS: dict[str, tuple[Wave, float, float, float]] = {
    # name: (wave, amplitude of the fundamental, h3, h5)
    "dead band 15": (dead_band(15), 0.992488, 0.021484, 0.031969),
    "dead band 30": (dead_band(30), 0.942331, 0.146267, 0.146267),
    "dead band 45": (dead_band(45), 0.818310, 0.388985, 0.129662),
    "dead band 60": (dead_band(60), 0.608998, 0.678979, 0.226326),
    "delayed 60": (delayed(60), 0.839173, 0.284485, 0.164248),
    "delayed 90": (delayed(90), 0.592724, 0.537029, 0.179010),
    "delayed 120": (delayed(120), 0.308567, 0.773680, 0.446684),
    "gap 0.3": (threshold_gap(0.3), 0.624266, 0.177174, 0.080791),
    "gap 0.5": (threshold_gap(0.5), 0.391002, 0.352510, 0.070502),
    "clipped 0.5": (clipped(0.5), 0.608998, 0.226326, 0.045265),
    "square": (square, 4 / np.pi, 1 / 3, 1 / 5),
    "triangle": (triangle, 8 / np.pi**2, 1 / 9, 1 / 25),
}

PEAKY = ("dead band 15", "dead band 30", "dead band 45", "dead band 60", "gap 0.5", "triangle")
FLAT = ("clipped 0.5", "square")


@functools.cache
def windows_of(
    wave: Wave, rate_hz: float = 10_000.0, hz: float = 50.0, deg: float = 0.0
) -> WindowTable:
    theta = angle(rate_hz, hz, 1.1, deg)
    current = AMPLITUDE_MA * band_limited(wave, theta, orders_below(rate_hz, hz))
    description = describe(rate_hz, 50 if hz < 55 else 60)
    voltage = 12.0 * np.sqrt(2.0) * np.sin(theta)
    return whole(measured(columns(current, voltage), description).table)


@pytest.mark.parametrize("name", FORMS)
@pytest.mark.parametrize("rate_hz", [10_000.0, 25_600.0])
def test_a_closed_form_has_its_first_third_and_fifth_harmonic(name: str, rate_hz: float) -> None:
    wave, first, third, fifth = FORMS[name]
    table = windows_of(wave, rate_hz)
    assert np.abs(table.h1_na / 1e6 / (first * AMPLITUDE_MA / np.sqrt(2)) - 1).max() < 1e-3
    assert np.abs(ratio(table.h3_ppm) - third).max() < 1e-3
    assert np.abs(ratio(table.h5_ppm) - fifth).max() < 1e-3


@pytest.mark.parametrize("name", FORMS)
def test_a_closed_form_at_sixty_hertz_and_another_angle_has_the_same_ratios(name: str) -> None:
    wave, _, third, fifth = FORMS[name]
    table = windows_of(wave, 12_800.0, 60.0, deg=77.0)
    assert np.abs(ratio(table.h3_ppm) - third).max() < 1e-3
    assert np.abs(ratio(table.h5_ppm) - fifth).max() < 1e-3


@pytest.mark.parametrize("name", FORMS)
def test_distortion_is_that_of_orders_two_to_forty(name: str) -> None:
    wave = FORMS[name][0]
    size = np.abs(coefficients(wave, 40))
    expected = np.sqrt(np.sum(size[2:] ** 2)) / size[1]
    assert np.abs(ratio(windows_of(wave).thd_ppm) - expected).max() < 1e-3


@pytest.mark.parametrize(
    ("wave", "expected"),
    [(threshold_gap(0.5), 0.3628), (triangle, 0.121153)],
    ids=["gap 0.5", "triangle"],
)
def test_distortion_of_a_wave_without_steps_is_that_of_all_its_orders(
    wave: Wave, expected: float
) -> None:
    assert np.abs(ratio(windows_of(wave).thd_ppm) - expected).max() < 1e-3


@pytest.mark.parametrize("name", PEAKY)
def test_third_harmonic_of_a_peaky_wave_stands_at_180_degrees(name: str) -> None:
    table = windows_of(FORMS[name][0], deg=33.0)
    assert (np.abs(np.abs(table.h3_cdeg / 100) - 180) < 0.5).all()


@pytest.mark.parametrize("name", FLAT)
def test_third_harmonic_of_a_flat_wave_stands_at_0_degrees(name: str) -> None:
    table = windows_of(FORMS[name][0], deg=33.0)
    assert (np.abs(table.h3_cdeg / 100) < 0.5).all()


@pytest.mark.parametrize("lag_deg", [-20.0, 15.0, 40.0, 75.0])
@pytest.mark.parametrize(("wave", "third_deg"), [(dead_band(45), 180.0), (clipped(0.5), 0.0)])
def test_phase_of_the_third_is_against_the_currents_own_fundamental_not_the_voltage(
    wave: Wave, third_deg: float, lag_deg: float
) -> None:
    theta = angle(10_000.0, 50.0, 1.1)
    current = AMPLITUDE_MA * band_limited(wave, theta - np.radians(lag_deg), 80)
    table = whole(measured(columns(current, 17 * np.sin(theta))).table)
    assert (np.abs(np.abs(table.h3_cdeg / 100) - third_deg) < 0.5).all()


@pytest.mark.parametrize(
    ("wave", "crest"),
    [
        (sine, np.sqrt(2)),
        (triangle, 1.732051),
        (threshold_gap(0.5), 1.7000),
        (clipped(0.5), 1.1308),
    ],
    ids=["sine", "triangle", "gap 0.5", "clipped 0.5"],
)
def test_peak_to_rms_of_a_wave_without_steps_is_its_crest_factor(wave: Wave, crest: float) -> None:
    table = windows_of(wave, 25_600.0)
    assert np.abs(table.peak_ua * 1e3 / table.rms_na / crest - 1).max() < 5e-3


@pytest.mark.parametrize("name", FORMS)
def test_rms_is_that_of_all_orders_within_the_band(name: str) -> None:
    wave = FORMS[name][0]
    size = np.abs(coefficients(wave, orders_below(10_000.0, 50.0)))
    expected = AMPLITUDE_MA * np.sqrt(np.sum(size[1:] ** 2) / 2 + size[0] ** 2)
    assert np.abs(windows_of(wave).rms_na / 1e6 / expected - 1).max() < 1e-3


def test_fifth_to_third_follows_the_ratios_and_is_not_monotonic_in_the_dead_band() -> None:
    found = [float(ratio(windows_of(dead_band(a)).h5_h3_ppm)[0]) for a in (15, 30, 45, 60)]
    assert np.allclose(found, [1.488, 1.000, 0.333, 0.333], atol=2e-3)


def test_a_pure_sine_has_no_third_harmonic_to_give_a_phase_of() -> None:
    table = windows_of(sine)
    assert np.isnan(ratio(table.h3_cdeg)).all()
    assert np.isnan(ratio(table.h5_h3_ppm)).all()


def test_one_polarity_shows_a_mean_and_a_second_harmonic() -> None:
    half = coefficients(lambda theta: np.maximum(np.sin(theta), 0.0), 2)
    table = windows_of(lambda theta: np.maximum(np.sin(theta), 0.0))
    assert np.abs(table.mean_na / 1e6 - AMPLITUDE_MA / np.pi).max() < 1e-3 * AMPLITUDE_MA
    assert np.abs(ratio(table.h2_ppm) - abs(half[2]) / abs(half[1])).max() < 1e-3
    assert np.abs(ratio(table.h2_ppm) - 4 / (3 * np.pi)).max() < 1e-3
