"""The fourth generator's building blocks against closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.families.labelled import Label
from tests.fourth_physics import arcs, films, intrusions, sensor
from tests.fourth_physics.setting import Setting
from tests.fourth_physics.stage import Stage, drawn_stage, harmonics
from tests.fourth_physics.truth import SURE_OVER_FILM, Evidence, labels, unlikeness

PLAIN = Setting(rate_hz=10_000, nominal_hz=50, seconds=0.6, noise_ma=0.0)


def stage_of(**changed: object) -> Stage:
    return drawn_stage(replace(PLAIN, **changed), np.random.default_rng(3))  # type: ignore[arg-type]


def order_of(stage: Stage, wave: np.ndarray, order: int) -> complex:
    """Amplitude and phase against sin(order theta) over whole cycles."""
    cycles = np.floor((stage.theta - stage.theta[0]) / (2 * np.pi))
    span = cycles < cycles[-1]
    return complex(2j * np.mean(wave[span] * np.exp(-1j * order * stage.theta[span])))


def test_an_arc_takes_power_over_current_and_the_film_the_rest() -> None:
    upright, burn, crest = np.linspace(0, 50, 501), np.full(501, 0.1), np.full(501, 20.0)
    current = arcs.law_ma("hyperbolic", upright, 50.0, crest, burn)
    burning = current > 0
    ohm, power = 50 * 0.9 / 20, 0.1 * 50 * 20
    told = ohm * current[burning] + power / current[burning]
    assert told == pytest.approx(upright[burning])
    assert current[-1] == pytest.approx(20)
    assert upright[burning][0] == pytest.approx(2 * np.sqrt(ohm * power), abs=0.1)


def test_charge_of_a_regular_arc_is_the_integral_of_voltage_above_the_arcs() -> None:
    stage = stage_of()
    style = arcs.ArcStyle(20.0, weibull=0.0, crest_spread=0.0, burn=0.3, level=0.3)
    burnt = arcs.arcs(stage, (style,), np.random.default_rng(0))
    charge_mc = stage.by_half(np.abs(burnt))[2:-2] / stage.fine_hz
    first = np.arcsin(0.3)
    area = 2 * (np.cos(first) - 0.3 * (np.pi / 2 - first))
    assert charge_mc == pytest.approx(20 / 0.7 * area / stage.omega, rel=2e-3)


def test_a_regular_arc_is_the_same_in_each_half_cycle_and_a_loose_one_is_not() -> None:
    stage = stage_of()
    still = arcs.ArcStyle(20.0, weibull=0.0, crest_spread=0.0)
    crests = [
        stage.crest_by_half(arcs.arcs(stage, (style,), np.random.default_rng(1)))[2:-2]
        for style in (still, replace(still, crest_spread=0.4))
    ]
    assert np.ptp(crests[0]) < 0.01
    assert np.std(crests[1]) > 2


def test_weakest_band_breaks_down_at_the_level_in_the_mean_whatever_their_number() -> None:
    rng = np.random.default_rng(5)
    for bands in (1, 4):
        style = arcs.ArcStyle(10.0, level=0.6, bands=bands, weibull=8.0)
        assert arcs.weakest(style, 20_000, rng).mean() == pytest.approx(0.6, rel=5e-3)


def test_memory_lengthens_bursts_and_keeps_the_share() -> None:
    rng = np.random.default_rng(6)
    loose, bursts = (arcs.tries(30_000, 0.3, memory, rng) for memory in (0.0, 0.9))
    assert loose.mean() == pytest.approx(0.3, abs=0.01)
    assert bursts.mean() == pytest.approx(0.3, abs=0.03)
    turns = [int(np.sum(np.diff(on.astype(int)) == 1)) for on in (loose, bursts)]
    assert turns[1] == pytest.approx(turns[0] / 10, rel=0.15)


def test_film_that_heats_within_the_half_cycle_has_the_third_harmonic_of_its_time_constant() -> (
    None
):
    stage = stage_of()
    found = abs(order_of(stage, films.heated(stage, 10.0, 0.3, 2e-3), 3))
    assert found == pytest.approx(10 * 0.3 / 2 / np.hypot(1, 2 * stage.omega * 2e-3), rel=5e-3)


def test_cubic_film_has_a_quarter_of_its_cubic_part_as_third_harmonic() -> None:
    stage = stage_of()
    wave = films.semiconducting(stage, 10.0, 0.4)
    first, third = (abs(order_of(stage, wave, order)) for order in (1, 3))
    assert third / first == pytest.approx(0.1 / 1.3, rel=5e-3)
    assert np.abs(wave).max() == pytest.approx(10, rel=1e-3)


def test_capacitive_current_leads_by_a_quarter_and_so_do_neighbours_by_their_own() -> None:
    stage = stage_of()
    assert order_of(stage, films.capacitive(stage, 0.5), 1) == pytest.approx(
        0.5j * np.sqrt(2), abs=5e-3
    )
    induced = order_of(stage, films.neighbours(stage, (0.5, 0.0)), 1)
    assert np.angle(induced, deg=True) == pytest.approx(90 - 120, abs=0.5)


def test_supply_is_distorted_by_the_share_asked_for() -> None:
    theta = np.arange(4000) * 2 * np.pi / 400
    extra = harmonics(0.06, theta, np.random.default_rng(2))
    assert np.sqrt(np.mean(extra**2)) == pytest.approx(0.06 / np.sqrt(2))


def test_zeros_of_the_phase_are_the_half_cycles_edges() -> None:
    stage = stage_of(offset_hz=0.7, wander_hz=0.3)
    at_edges = np.interp(stage.edges_s[1:-1], stage.t_s, stage.theta) / np.pi
    assert at_edges == pytest.approx(np.rint(at_edges), abs=1e-6)
    assert stage.edges_s[0] <= stage.t_s[0]
    assert stage.edges_s[-1] >= stage.t_s[-1]


@pytest.mark.parametrize("order", [1, 4])
def test_sensor_passes_the_fundamental_as_its_response_says(order: int) -> None:
    stage = stage_of(order=order, low_pass_hz=900.0)
    seen = sensor.passed(stage, stage.pure)
    theta = stage.theta[stage.preroll :: stage.factor]
    gain = sensor.response(stage) * stage.setting.crest_kv
    assert seen == pytest.approx(np.imag(gain * np.exp(1j * theta)), abs=0.1)


def test_a_pulse_crests_at_its_crest() -> None:
    stage = stage_of(rate_hz=25_600)
    wave = intrusions.pulses(stage, np.array([0.1]), np.array([8.0]), 3e-5, 3e-4)
    assert wave.max() == pytest.approx(8, rel=0.02)


def test_a_film_that_conducts_better_at_the_crest_is_not_unlike_a_film() -> None:
    stage = stage_of()
    unit = stage.volts / 50
    film = unlikeness(3 * unit + unit**3, stage.volts, stage.half, stage.halves)[1:-1]
    step = unlikeness(np.sign(unit) * (np.abs(unit) > 0.7), stage.volts, stage.half, stage.halves)
    assert film == pytest.approx(0, abs=1e-5)
    assert step[1:-1].min() > 0.1


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, Label.ARCING),
        ({"arc_c": 1e-7}, Label.HARMLESS),
        ({"arc_c": 1e-7, "spiky": True}, Label.CORONA_SPIKE),
        ({"spiky": True}, Label.ARCING),
        ({"arc_c": 1e-6}, Label.DOUBTFUL),
        ({"charge_c": 1e-3}, Label.DOUBTFUL),
        ({"crest_ma": 0.4}, Label.DOUBTFUL),
        ({"noise_ma": 0.3}, Label.DOUBTFUL),
        ({"film_ma": 1.1 / SURE_OVER_FILM}, Label.DOUBTFUL),
        ({"torn": True}, Label.DOUBTFUL),
        ({"film_ma": 20.0, "distortion": 0.08}, Label.ARCING),
        ({"film_ma": 20.0, "distortion": 0.08, "reference": False}, Label.DOUBTFUL),
    ],
)
def test_rule_of_truth_calls_each_half_cycle_what_it_says(
    changed: dict[str, object], expected: Label
) -> None:
    usual = {
        "arc_c": 2e-5,
        "charge_c": 4e-5,
        "crest_ma": 5.0,
        "unlike_ma": 1.0,
        "noise_ma": 0.02,
        "film_ma": 2.0,
        "torn": False,
        "spiky": False,
        "distortion": 0.0,
        "reference": True,
    }
    alone = ("distortion", "reference")
    made = {k: v if k in alone else np.array([v]) for k, v in (usual | changed).items()}
    assert labels(Evidence(**made))[0] == expected  # type: ignore[arg-type]
