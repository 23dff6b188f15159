"""The arc law, ignition with memory, and the way to a flashover."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from edge.sense.virtual_site.arc_law import ArcLaw, arc_curve, least_current_a, least_voltage_v
from edge.sense.virtual_site.arcs import HalfCycles, _remember, burn, habit_of, half_cycles
from edge.sense.virtual_site.film import Film
from edge.sense.virtual_site.line import critical_voltage_v
from edge.sense.virtual_site.truth import joined, truth_of
from edge.sense.virtual_site.waveform import arc_currents, lowpass
from tests.edge.sense.virtual_site.builders import DRIZZLE, Run, insulator, site_plan, wet


@pytest.mark.parametrize("law", [ArcLaw(63.0, 0.5), ArcLaw(63.0, 0.76), ArcLaw(139.0, 0.68)])
def test_the_curve_solves_the_arc_law_on_the_burning_branch(law: ArcLaw) -> None:
    rng = np.random.default_rng(5)
    band, ohm = rng.uniform(0.5, 20.0, 200), 10 ** rng.uniform(3.5, 6.5, 200)
    least_a, least_v = least_current_a(law, band, ohm), least_voltage_v(law, band, ohm)
    volts = least_v * rng.uniform(1.001, 30.0, 200)
    amps = least_a * arc_curve(law).ratio(np.sqrt(volts / least_v - 1.0))
    assert law.a * band * amps**-law.n + ohm * amps == pytest.approx(volts, rel=1e-3)
    assert np.all(amps >= least_a)
    beside = least_a * 1.01
    assert np.all(law.a * band * beside**-law.n + ohm * beside > least_v * (1.0 - 1e-12))


def test_critical_voltage_is_the_closed_form_of_an_arc_in_series_with_a_film() -> None:
    """Computed by numeric search beside the closed form: A 63, n 1/2, 1000 ohm/cm, 30 cm."""
    found = critical_voltage_v(np.array([63.0]), np.array([30_000.0]), np.array([30.0]))
    assert found[0] == pytest.approx(4_749.869, rel=1e-6)


def test_memory_of_heat_equals_a_plain_walk_through_the_half_cycles() -> None:
    rng = np.random.default_rng(2)
    cycles = half_cycles(
        np.array([0.3, 4.0, 9.9]), np.array([0.3, 4.0, 9.9]) + 100.2 * math.pi, 480
    )
    shape = cycles.place.shape
    warm = rng.uniform(size=shape) < 0.7
    cold = warm & (rng.uniform(size=shape) < 0.3)
    hot = rng.uniform(size=(3, 2)) < 0.5
    was_hot, left = _remember(cold, warm, hot, cycles)
    for row in range(3):
        heat = hot[row].copy()
        for column in np.flatnonzero(cycles.real[row]):
            side = 0 if cycles.positive[row, column] else 1
            assert was_hot[row, column] == heat[side]
            heat[side] = cold[row, column] or (warm[row, column] and heat[side])
        assert left[row].tolist() == heat.tolist()


def _film() -> Film:
    one = np.ones(1)
    return Film(1e-6 * one, 0.0 * one, 1e-6 * one, one, one, 0.0 * one)


def _seconds_of_burning(shy: tuple[float, float], band_cm: float, seconds: int = 60) -> np.ndarray:
    """Share of half-cycles burning, by polarity (positive, negative)."""
    rng = np.random.default_rng(8)
    habit = habit_of(site_plan(), rng)
    habit.shy[0] = shy
    cycles: HalfCycles = half_cycles(np.zeros(1), np.full(1, 100 * math.pi), 10_000)
    shape, counts = cycles.place.shape, np.zeros(2)
    for _ in range(seconds):
        made, habit = burn(
            ArcLaw(), cycles, _film(), np.full(1, band_cm), np.full(shape, band_cm),
            np.full(shape, 1e6), np.full(shape, 18_000.0), habit, rng,
        )  # fmt: skip
        burning = np.unique(made.column)
        counts += [(burning % 2 == 0).sum(), (burning % 2 == 1).sum()]
    return counts / (50.0 * seconds)


def test_a_wider_band_ignites_less_often() -> None:
    shares = [_seconds_of_burning((1.0, 1.0), band).mean() for band in (1.5, 2.6, 4.0, 8.0)]
    assert shares[0] > 0.95
    assert shares == sorted(shares, reverse=True)
    assert shares[-1] == 0.0


def test_arcs_of_one_polarity_are_possible() -> None:
    positive, negative = _seconds_of_burning((1.0, 2.2), 2.2)
    assert positive > 0.5
    assert negative < 0.05 * positive


def test_a_glow_rises_without_a_step_and_an_arc_with_one() -> None:
    rng = np.random.default_rng(4)
    cycles = half_cycles(np.zeros(1), np.full(1, 100 * math.pi), 10_000)
    shape, step = cycles.place.shape, math.pi / 100.0
    volts = np.zeros((3, 10_112))
    volts[0] = 18_000.0 * np.sin(step * np.arange(10_112))
    steepest: dict[bool, list[float]] = {True: [], False: []}
    for ohm in (4e6, 4e5):
        made, _ = burn(
            ArcLaw(), cycles, _film(), np.full(1, 1.6), np.full(shape, 1.6), np.full(shape, ohm),
            np.full(shape, 18_000.0), habit_of(site_plan(), rng), rng,
        )  # fmt: skip
        burned = arc_currents(
            arc_curve(ArcLaw()), made, cycles, volts, np.zeros(1, dtype=np.int64), step, 10_000
        )
        once = [c for c in np.unique(made.column) if (made.column == c).sum() == 1]
        for column in once:
            entry = int(np.flatnonzero(made.column == column)[0])
            inside = np.abs(burned.current_a[0, 100 * column : 100 * column + 101])
            glows = bool(made.glow_v[entry] > 0.0)
            steepest[glows].append(float(np.abs(np.diff(inside)).max() / inside.max()))
    assert max(steepest[True]) < 0.15
    assert np.median(steepest[False]) > 0.2


def test_the_lowpass_equals_a_finely_stepped_first_order_filter() -> None:
    rng = np.random.default_rng(1)
    signal, fine = rng.standard_normal(400), 200
    straight = np.interp(np.arange(399 * fine + 1) / fine, np.arange(400), signal)
    corner = 2.0 * math.pi * 1_500.0 / 10_000.0 / fine
    level, plain = 0.0, []
    for before, after in itertools.pairwise(straight.tolist()):
        level += (1.0 - math.exp(-corner)) * (0.5 * (before + after) - level)
        plain.append(level)
    found = lowpass(signal[None], 32, 1_500.0, 10_000.0)[0]
    assert found == pytest.approx(np.array(plain)[fine - 1 :: fine][31:], abs=1e-4)


def test_a_heavy_film_lengthens_the_arc_to_flashover_then_voltage_and_current_are_gone() -> None:
    weak = insulator(salt_mg_cm2=0.1, reignition_v=120.0, full_scale_ma=1_000.0)
    run = Run(site_plan(weak, insulator(name="other", phase="B")), rate_hz=4_800)
    run.state = wet(run.state, 30.0, 0.5)
    told = run.seconds(DRIZZLE, 20)
    line = run.state.line
    assert line.flashed == 0
    assert 0.06 <= line.trip_s - line.flash_s <= 0.14
    truth = joined([truth_of(second.happened, 0) for second in told])
    assert truth.arcing[: truth.flashover.argmax()].any()
    assert truth.flashover.sum() in range(6, 16)
    flash, trip = int(line.flash_s * 4_800), int(line.trip_s * 4_800) + 48
    for row in (0, 1):
        current = run.current_ma(told, row)
        assert np.abs(current[trip:]).max() < 0.1
    assert np.abs(run.current_ma(told)[flash:trip]).max() >= 1_000.0
    for phase in "ABC":
        volts = run.volts_kv(told, phase)
        assert np.abs(volts[:flash]).max() > 17.0
        assert np.abs(volts[trip:]).max() < 0.05
    after = truth.start_counter > trip
    assert not truth.energised[after].any()
    assert not truth.arcing[after].any()


def test_a_line_that_recloses_is_alive_again() -> None:
    weak = insulator(salt_mg_cm2=0.1, reignition_v=120.0)
    run = Run(site_plan(weak, reclose_s=3.0), rate_hz=4_800)
    run.state = wet(run.state, 30.0, 0.5)
    told = run.seconds(DRIZZLE, 6)
    first = joined([truth_of(second.happened, 0) for second in told]).flashover.argmax() // 100
    told += run.seconds(DRIZZLE, first + 1)
    crest = np.abs(run.volts_kv(told)).reshape(-1, 4_800).max(axis=1)
    assert crest[first + 2] < 0.05
    assert crest[first + 5] > 17.0
