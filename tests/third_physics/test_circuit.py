"""The integrator against closed forms."""

from dataclasses import replace

import numpy as np
import pytest

from tests.third_physics.native import ATTEMPTS, Course, Segment, integrated
from tests.third_physics.scene import NEVER

DT_S = 1e-5
COOL_J_K = 1e12
WET = Segment(length_cm=10.0, full_us=1.0, heat_j_k=COOL_J_K)
BAND = Segment(length_cm=2.0, full_us=1.0, water=0.01, drop_kv=0.0, heat_j_k=COOL_J_K)


def run(
    emf_kv: np.ndarray, *segments: Segment, scatter: float = 1.0, beside_us: float = 0.0
) -> Course:
    """All in one half-cycle, whatever the source does."""
    one = np.ones(1)
    factors = np.full((1, ATTEMPTS), scatter)
    half = np.zeros(len(emf_kv), np.int32)
    return integrated(DT_S, emf_kv, half, factors, beside_us * one, one, segments)


def sine(crest_kv: float, seconds: float = 0.2, hertz: float = 50.0) -> np.ndarray:
    return crest_kv * np.sin(2 * np.pi * hertz * DT_S * np.arange(round(seconds / DT_S)))


def still(seconds: float, kv: float) -> np.ndarray:
    return np.full(round(seconds / DT_S), kv)


def test_a_film_without_bands_is_a_resistor() -> None:
    course = run(sine(10.0), WET, replace(WET, full_us=0.5), beside_us=0.2)
    late = slice(10_000, None)
    expected = course.voltage_kv[late] * (1 / (1 / 1.0 + 1 / 0.5) + 0.2)
    assert np.allclose(course.surface_ma[late], expected, rtol=1e-9)
    assert not course.arc_ma.any()


def test_the_line_resonates_where_its_elements_say() -> None:
    ring = run(np.r_[0.0, still(0.02, 10.0)], WET).voltage_kv - 10.0
    crossings = np.flatnonzero(np.diff(np.signbit(ring[: round(2e-3 / DT_S)])))
    hertz = (len(crossings) - 1) / 2 / ((crossings[-1] - crossings[0]) * DT_S)
    assert hertz == pytest.approx(1 / (2 * np.pi * np.sqrt(10e-3 * 0.28e-6)), rel=0.02)
    assert abs(ring[-1]) < 1e-3


@pytest.mark.parametrize("exponent", [0.05, 0.5, 0.76])
@pytest.mark.parametrize("drop_kv", [0.0, 0.8])
def test_a_still_arc_stands_on_its_characteristic(exponent: float, drop_kv: float) -> None:
    band = replace(BAND, exponent=exponent, drop_kv=drop_kv)
    course = run(still(0.05, 20.0), band, WET)
    arc_kv = course.voltage_kv[-1] - course.surface_ma[-1] / WET.full_us
    static = band.field_kv_cm * band.length_cm * course.arc_ma[-1] ** -exponent
    assert course.arc_ma[-1] > 1.0
    assert arc_kv == pytest.approx(static + drop_kv, rel=2e-3)


@pytest.mark.parametrize(("over_least", "burns"), [(0.97, False), (1.05, True)])
def test_an_arc_lives_only_above_the_least_voltage_of_arc_and_film(
    over_least: float, burns: bool
) -> None:
    """Least over i of K i^-n + i / G: (1 + 1/n) i / G at i = (n K G)^(1 / (n + 1))."""
    n, k = BAND.exponent, BAND.field_kv_cm * BAND.length_cm
    least = (1 + 1 / n) * (n * k * WET.full_us) ** (1 / (n + 1)) / WET.full_us
    dry = replace(BAND, water=0.004, strength_kv_cm=0.5, lag_s=0.9, residual=0.0)
    course = run(np.r_[still(0.02, 20.0), still(0.1, over_least * least)], dry, WET)
    assert course.arc_ma[1_900] > 1.0
    assert (course.arc_ma[-1] > 0.1) == burns


def test_a_band_ignites_where_its_strength_is_reached() -> None:
    course = run(sine(20.0, 0.004), replace(BAND, water=0.004), WET, scatter=1.2)
    first = int(np.argmax(np.abs(course.arc_ma) > 0))
    assert course.voltage_kv[first] == pytest.approx(1.2 * 5.0 * 2.0, rel=0.02)


def test_ignition_waits_for_its_area() -> None:
    area = 0.01
    course = run(still(0.02, 15.0), replace(BAND, water=0.004, area_kv_s=area, lag_s=0.0), WET)
    first = int(np.argmax(np.abs(course.arc_ma) > 0))
    assert first * DT_S == pytest.approx(area / (15.0 - 10.0), rel=0.05)


def test_no_band_ignites_where_the_scatter_forbids() -> None:
    assert not run(sine(25.0), BAND, WET, scatter=NEVER).arc_ma.any()


def test_arcs_only_take_power_and_end_before_the_electrodes_voltage_is_lost() -> None:
    course = run(sine(20.0), replace(BAND, drop_kv=0.8), WET)
    burning = course.arc_ma != 0
    assert burning.mean() > 0.3
    assert np.all(course.arc_ma[burning] * course.voltage_kv[burning] > 0)
    assert np.abs(course.voltage_kv[burning]).min() >= 0.8


def test_a_lengthening_arc_breaks_early() -> None:
    calm = run(sine(15.0, 0.01), BAND, WET)
    long = run(sine(15.0, 0.01), replace(BAND, stretch_per_s=2000.0), WET)
    assert (long.arc_ma > 0).sum() < 0.8 * (calm.arc_ma > 0).sum()


def test_heat_dries_and_fog_wets() -> None:
    hot = replace(WET, full_us=0.5, heat_j_k=0.5, loss_w_k=0.5, drying_per_k_s=0.1)
    dried = run(sine(15.0, 1.0), hot, WET, scatter=NEVER)
    assert dried.water[0] < 0.3 and dried.water[1] == 1.0
    wetted = run(sine(0.001, 1.0), replace(WET, water=0.2, fog_per_s=1.0), WET)
    assert wetted.water[0] == pytest.approx(1 - 0.8 * np.exp(-1), rel=0.01)


def test_finer_steps_change_little() -> None:
    """Charge of the arcs of one half-cycle within 1 % at a quarter of the step."""
    charges = []
    for finer in (1, 4):
        dt = DT_S / finer
        emf = 20.0 * np.sin(2 * np.pi * 50 * dt * np.arange(round(0.01 / dt)))
        half, one = np.zeros(len(emf), np.int32), np.ones(1)
        scatter = np.ones((1, ATTEMPTS))
        course = integrated(dt, emf, half, scatter, 0 * one, one, (BAND, WET))
        charges.append(course.arc_ma.sum() * dt)
    assert charges[0] == pytest.approx(charges[1], rel=0.01)
