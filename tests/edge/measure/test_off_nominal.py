"""The mains is never exactly nominal: harmonics hold while the frequency stands off and drifts."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from edge.measure.windows import WindowTable
from edge.quantities import Flag
from tests.edge.measure.builders import (
    Floats,
    Wave,
    angle,
    band_limited,
    coefficients,
    columns,
    dead_band,
    describe,
    drifting,
    measured,
    orders_below,
    ratio,
    sine,
    triangle,
    whole,
)

RATES_HZ = (4_800.0, 6_400.0, 10_000.0, 12_800.0, 25_600.0)
FREQUENCIES = (
    (50, 49.0, 49.0),
    (50, 50.5, 50.5),
    (50, 51.0, 51.0),
    (60, 59.0, 59.0),
    (60, 61.0, 61.0),
    (50, 49.0, 51.0),
    (50, 51.0, 49.0),
    (60, 59.0, 61.0),
)
"""(nominal, at the start, at the end) [Hz]."""

SECONDS = 6.0


def mains(rate_hz: float, hz: tuple[int, float, float], seconds: float = SECONDS) -> Floats:
    return drifting(rate_hz, hz[1], hz[2], seconds) + 0.4


def windows_of(wave: Wave, theta: Floats, rate_hz: float, nominal_hz: int) -> WindowTable:
    current = 20 * band_limited(wave, theta, orders_below(rate_hz, nominal_hz * 1.02))
    voltage = 12 * np.sqrt(2) * np.sin(theta)
    return whole(measured(columns(current, voltage), describe(rate_hz, nominal_hz)).table)


@functools.cache
def dead_band_windows(rate_hz: float, hz: tuple[int, float, float]) -> WindowTable:
    return windows_of(dead_band(45), mains(rate_hz, hz), rate_hz, hz[0])


@pytest.mark.parametrize("hz", FREQUENCIES, ids=str)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_harmonics_of_a_dead_band_hold_off_nominal_to_a_thousandth_of_the_fundamental(
    rate_hz: float, hz: tuple[int, float, float]
) -> None:
    """Dead band 45: h3 0.388985, h5 0.129662 (closed form, computed)."""
    table = dead_band_windows(rate_hz, hz)
    assert np.abs(table.h1_na / 1e6 / (20 * 0.818310 / np.sqrt(2)) - 1).max() < 1e-3
    assert ratio(table.h2_ppm).max() < 1e-3
    assert np.abs(ratio(table.h3_ppm) - 0.388985).max() < 1e-3
    assert np.abs(ratio(table.h5_ppm) - 0.129662).max() < 1e-3
    assert (np.abs(np.abs(table.h3_cdeg / 100) - 180) < 0.5).all()


@pytest.mark.parametrize("hz", FREQUENCIES[-3:], ids=str)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_drifting_sine_gains_no_harmonic_above_a_thousandth(
    rate_hz: float, hz: tuple[int, float, float]
) -> None:
    """A fixed 200 ms window would show a third of 0.013 at 50.5 Hz (computed)."""
    table = windows_of(sine, mains(rate_hz, hz), rate_hz, hz[0])
    for column in (table.h2_ppm, table.h3_ppm, table.h5_ppm, table.thd_ppm):
        assert ratio(column).max() < 1e-3


@pytest.mark.parametrize("hz", FREQUENCIES[-3:], ids=str)
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_distortion_of_a_drifting_triangle_holds_within_its_band(
    rate_hz: float, hz: tuple[int, float, float]
) -> None:
    size = np.abs(coefficients(triangle, min(40, orders_below(rate_hz, hz[0] * 1.02))))
    expected = np.sqrt(np.sum(size[2:] ** 2)) / size[1]
    table = windows_of(triangle, mains(rate_hz, hz), rate_hz, hz[0])
    assert np.abs(ratio(table.thd_ppm) - expected).max() < 1e-3


@pytest.mark.parametrize("hz", FREQUENCIES, ids=str)
def test_reported_frequency_is_that_of_the_middle_of_the_window(
    hz: tuple[int, float, float],
) -> None:
    table = dead_band_windows(10_000.0, hz)
    middle_s = table.start / 10_000.0 + table.duration_us / 2e6
    expected = hz[1] + (hz[2] - hz[1]) * middle_s / SECONDS
    assert np.abs(table.frequency_millihz / 1e3 - expected).max() < 0.004


@pytest.mark.parametrize("hz", [(50, 49.0, 49.0), (50, 51.0, 51.0), (60, 60.7, 60.7)], ids=str)
def test_a_steady_frequency_off_nominal_is_found_from_the_current_alone(
    hz: tuple[int, float, float],
) -> None:
    theta = mains(10_000.0, hz)
    current = 20 * band_limited(dead_band(45), theta, 70)
    found = measured(columns(current), describe(10_000.0, hz[0], voltages=()))
    table = whole(found.table)
    assert np.abs(table.frequency_millihz / 1e3 - hz[1]).max() < 0.002
    assert np.abs(ratio(table.h3_ppm) - 0.388985).max() < 1e-3
    assert Flag.NO_REFERENCE.value in found.minutes()[0].flags


@pytest.mark.parametrize("to_hz", [49.7, 50.3])
def test_arcs_are_found_from_the_current_alone_while_the_frequency_drifts(to_hz: float) -> None:
    """0.02 Hz a second for fifteen seconds: the clock then follows a mean of two seconds' past."""
    theta = drifting(10_000.0, 50.0, to_hz, 15.0) + 0.4
    description = describe(10_000.0, voltages=())
    arcs = whole(measured(columns(20 * band_limited(dead_band(45), theta, 70)), description).table)
    assert int(arcs.arcing.sum()) >= 0.99 * int(arcs.halfcycles.sum())
    assert np.abs(ratio(arcs.h3_ppm) - 0.388985).max() < 3e-3
    film = whole(measured(columns(20 * sine(theta)), description).table)
    assert int(film.arcing.sum()) == 0


@pytest.mark.parametrize("hz", FREQUENCIES, ids=str)
def test_windows_hold_whole_cycles_and_leave_no_sample_out(hz: tuple[int, float, float]) -> None:
    rate_hz = 10_000.0
    theta = mains(rate_hz, hz)
    full = measured(columns(np.sin(theta), np.sin(theta)), describe(rate_hz, hz[0])).table
    ends_us = full.start_us + full.duration_us
    assert np.array_equal(full.start_us[1:], ends_us[:-1])
    assert int(full.duration_us.sum()) == round(SECONDS * 1e6)
    cycles = 10 if hz[0] == 50 else 12
    inner = whole(full)
    assert (inner.halfcycles == 2 * cycles).all()
    begins = theta[inner.start] / (2 * np.pi)
    assert np.abs(begins - np.rint(begins)).max() < 0.6 * hz[1] / rate_hz


def test_a_window_belongs_to_a_rising_zero_of_the_voltage_wherever_the_signal_begins() -> None:
    for deg in (0.0, 1.0, 179.0, 181.0, 359.0):
        theta = angle(10_000.0, 50, 1.1, deg)
        table = whole(measured(columns(np.sin(theta), np.sin(theta))).table)
        assert np.abs(np.sin(theta[table.start])).max() < 0.02
        assert (np.cos(theta[table.start]) > 0).all()
