"""Subgroups, and the harmonics against an independent computation with scipy."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from edge.measure.harmonics import harmonics, spectrum
from tests.edge.measure.builders import (
    angle,
    columns,
    describe,
    measured,
    ratio,
    whole,
)

RATE_HZ = 10_000.0


def with_interharmonics() -> np.ndarray:
    """10 r.m.s. at 50 Hz, 3 at 150, 0.9 at 155, 1.2 at 175, over 200 ms."""
    t = np.arange(round(RATE_HZ * 0.2)) / RATE_HZ
    parts = [(10.0, 50, 0.3), (3.0, 150, 1.1), (0.9, 155, 2.0), (1.2, 175, 0.7)]
    return sum(a * np.sqrt(2) * np.sin(2 * np.pi * f * t + p) for a, f, p in parts)


def test_a_subgroup_takes_in_the_line_beside_it_and_leaves_out_what_lies_between() -> None:
    """sqrt(3^2 + 0.9^2) = 3.1321: subgroups as in IEC 61000-4-7, as recalled."""
    found = harmonics(with_interharmonics()[None, :], 10, RATE_HZ, 50)
    assert found.h1[0] == pytest.approx(10.0, abs=1e-3)
    assert found.h3_ratio[0] * found.h1[0] == pytest.approx(3.1321, abs=1e-3)


def test_the_same_subgroup_comes_out_of_the_whole_measure() -> None:
    current = np.tile(with_interharmonics(), 8)
    voltage = np.sin(angle(RATE_HZ, 50, 1.6))
    table = whole(measured(columns(current, voltage)).table)
    assert np.abs(ratio(table.h3_ppm) * table.h1_na / 1e6 - 3.1321).max() < 2e-3


def test_lines_agree_with_scipys_own_spectrum_of_the_same_window() -> None:
    generator = np.random.default_rng(5)
    window = with_interharmonics() + generator.normal(0, 0.5, round(RATE_HZ * 0.2))
    _, power = scipy.signal.periodogram(
        window, RATE_HZ, window="boxcar", detrend=False, scaling="spectrum"
    )
    ours = np.abs(spectrum(window[None, :])[0])
    assert np.allclose(ours[:-1] ** 2, power[:-1], rtol=1e-9, atol=1e-12)


def test_harmonic_columns_agree_with_a_spectrum_made_by_scipy() -> None:
    """Any harmonic wave over a window of whole periods: no windowing, no interpolation at stake."""
    generator = np.random.default_rng(11)
    theta = angle(RATE_HZ, 50, 1.6)
    sizes = generator.uniform(0.0, 0.3, 41)
    turns = generator.uniform(-np.pi, np.pi, 41)
    current = 8 * np.sin(theta) + 8 * sum(
        sizes[n] * np.sin(n * theta + turns[n]) for n in range(2, 41)
    )
    _, power = scipy.signal.periodogram(
        current[2000:4000], RATE_HZ, window="boxcar", detrend=False, scaling="spectrum"
    )
    root = np.sqrt(power[::10])
    table = whole(measured(columns(current, 9 * np.sin(theta))).table)
    assert np.abs(table.h1_na / 1e6 / root[1] - 1).max() < 1e-4
    for column, order in ((table.h2_ppm, 2), (table.h3_ppm, 3), (table.h5_ppm, 5)):
        assert np.abs(ratio(column) - root[order] / root[1]).max() < 1e-4
    thd = np.sqrt(np.sum(power[20:401:10])) / root[1]
    assert np.abs(ratio(table.thd_ppm) - thd).max() < 1e-3
    third_deg = np.degrees(np.angle(np.exp(1j * turns[3])))
    assert np.abs(table.h3_cdeg / 100 - third_deg).max() < 0.1


def test_orders_near_half_the_rate_are_left_out_of_the_distortion() -> None:
    """At 4.8 kS/s order 40 would be 2 kHz at 50 Hz, but 2.4 kHz, half of the rate, at 60 Hz."""
    theta = angle(4_800.0, 60, 1.6)
    current = 10 * (np.sin(theta) + 0.2 * np.sin(35 * theta) + 0.1 * np.sin(38 * theta))
    table = whole(measured(columns(current, np.sin(theta)), describe(4_800.0, 60)).table)
    assert np.abs(ratio(table.thd_ppm) - 0.2).max() < 2e-2


def test_below_a_microampere_no_ratio_is_given() -> None:
    theta = angle(RATE_HZ, 50, 1.6)
    table = whole(measured(columns(5e-4 * np.sin(theta), np.sin(theta))).table)
    assert np.isnan(ratio(table.h3_ppm)).all()
    assert np.isnan(ratio(table.thd_ppm)).all()
