"""The second generator's physics against what is known in closed form."""

from dataclasses import replace

import numpy as np
import pytest

from tests.families.labelled import Floats
from tests.second_physics.bands import Style, arcs_of
from tests.second_physics.chain import Chain, fast_length, passed
from tests.second_physics.column import Bands, balance_power, burnt
from tests.second_physics.film import Climate, Drift, band_life, living
from tests.second_physics.stage import Stage
from tests.second_physics.supply import (
    STEPS,
    capacitive_ma,
    cycle_of,
    dry_phasor_ma,
    energised,
    lanes_of,
)

STEP_S = 1.5e-5


def stage_of(seed: int = 1, seconds: float = 4.0) -> Stage:
    return Stage(np.random.default_rng(seed), 10_000.0, 50.0, True, seconds)


def band(lanes: int = 1, number: int = 1, **changed: float) -> Bands:
    """Bands that break down at 5 kV at once; 1 kV of drop at 10 mA, tau 100 us."""
    shape = (number, lanes)
    defaults = {
        "strength_kv": 5.0,
        "deficit": 0.0,
        "weakened": 0.0,
        "recovery_s": 1e-3,
        "lag_s": 0.0,
        "seed": 1.0,
        "power": float(balance_power(1.0, 10.0, 0.0)),
        "exponent": 0.0,
        "tau_s": 1e-4,
        "leak": 1e-6,
    }
    full = {name: np.full(shape, amount) for name, amount in (defaults | changed).items()}
    flat = {
        name: np.zeros(lanes) for name in ("blow_from", "blow_to", "blow", "flutter", "flutter_hz")
    }
    return Bands(**full, glow=np.zeros(shape, dtype=bool), **flat)


def held(kv: float, steps: int = 2_000) -> Floats:
    return np.full((steps, 1), kv)


def one(amount: float) -> Floats:
    return np.array([amount])


@pytest.mark.parametrize("exponent", [0.0, 0.4, 1.0])
def test_a_steady_column_burns_where_heat_equals_loss(exponent: float) -> None:
    power = float(balance_power(1.0, 10.0, exponent))
    bands = band(exponent=exponent, power=power, strength_kv=2.0)
    path, _ = burnt(held(11.0), one(STEP_S), one(1.0), bands)
    assert path[-1, 0] == pytest.approx(10.0, rel=1e-3)


def test_a_column_dies_with_its_time_constant_when_heat_stops() -> None:
    voltage = held(11.0, 1_000)
    voltage[500:] = 0.01
    path, _ = burnt(voltage, one(STEP_S), one(1.0), band(tau_s=5e-4))
    late, later = path[520, 0], path[540, 0]
    own = [1 / (0.01 / current - 1) for current in (late, later)]  # g / film
    assert own[0] / own[1] == pytest.approx(np.exp(20 * STEP_S / 5e-4), rel=0.01)


def test_nothing_but_the_leak_flows_before_breakdown_and_after_extinction() -> None:
    phase = np.pi * np.arange(STEPS) / STEPS
    voltage = 12.0 * np.sin(phase)[:, None]
    path, column = burnt(voltage, one(STEP_S), one(1.0), band(leak=1e-4))
    burning = np.flatnonzero(column[:, 0])
    assert np.degrees(phase[burning[0]]) == pytest.approx(np.degrees(np.arcsin(5 / 12)), abs=1.0)
    assert burning[-1] < STEPS - 10 and np.all(np.diff(burning) == 1)
    silent = np.r_[path[: burning[0], 0], path[burning[-1] + 2 :, 0]]
    assert silent.max() <= 12.0 * 1e-4 and path.max() > 10.0


def test_a_column_drawn_out_dies_and_strikes_again() -> None:
    voltage = held(11.0, 1_200)
    bands = replace(
        band(recovery_s=1e-3, strength_kv=8.0, weakened=0.5, tau_s=4e-5, lag_s=3e-4),
        blow_from=one(400),
        blow_to=one(460),
        blow=one(20.0),
    )
    _, column = burnt(voltage, one(STEP_S), one(1.0), bands)
    lit = column[:, 0] > 0
    struck = np.flatnonzero(~lit[:-1] & lit[1:])
    assert len(struck) >= 2 and struck[0] < 400 < struck[1] and lit[-1]


def test_breakdown_waits_for_its_lag_and_needs_its_strength() -> None:
    _, late = burnt(held(6.0), one(STEP_S), one(1.0), band(lag_s=3e-3))
    _, never = burnt(held(4.9), one(STEP_S), one(1.0), band())
    assert np.flatnonzero(late[:, 0])[0] * STEP_S == pytest.approx(3e-3, abs=2 * STEP_S)
    assert not never.any()


def test_bands_in_series_break_down_one_after_another() -> None:
    voltage = 12.0 * np.sin(np.pi * np.arange(STEPS) / STEPS)[:, None]
    bands = band(number=2, strength_kv=4.0, power=2.0, lag_s=3e-4, leak=1e-3)
    bands.leak[0] *= 3.0  # the first leaks more, so the second takes more of the voltage
    path, column = burnt(voltage, one(STEP_S), one(1.0), bands)
    first = np.flatnonzero(path[:, 0] > 2e-2)[0]  # one is bridged: the other's leak is all
    both = np.flatnonzero(column[:, 0])[0]
    assert first < both < STEPS / 2


def test_half_the_step_gives_the_same_charge() -> None:
    charges = []
    for finer in (1, 4):
        phase = np.pi * np.arange(STEPS * finer) / (STEPS * finer)
        taus = np.array([[2e-5, 6e-5, 2e-4, 1e-3]])
        bands = replace(band(lanes=4), tau_s=taus)
        voltage = np.repeat(12.0 * np.sin(phase)[:, None], 4, axis=1)
        step_s = np.full(4, STEP_S / finer)
        path, _ = burnt(voltage, step_s, np.ones(4), bands)
        charges.append(path.sum(0) * STEP_S / finer)
    assert charges[0] == pytest.approx(charges[1], rel=0.01)


def test_a_glow_rises_without_a_step_from_its_drop() -> None:
    stage = stage_of(3)
    supply = stage.supply(0.0, 1e-6)
    present = np.ones(len(supply.lanes), dtype=bool)
    style = Style(exponent=(1.0, 1.0), drop=(0.4, 0.4), glow=True, tau_s=(5e-5, 5e-5))
    arcs = arcs_of(stage, supply, present, np.full(len(present), 10.0), style)
    wave = np.abs(arcs.path[5])
    assert np.max(np.abs(np.diff(wave))) < 0.05 * wave.max()
    ideal = np.maximum(np.abs(supply.voltage[5]) / supply.crests_kv[5] - 0.4, 0.0)
    middle = slice(STEPS // 2 - 60, STEPS // 2 + 60)
    assert np.allclose(wave[middle] / wave[middle].max(), ideal[middle] / 0.6, atol=0.05)


def test_a_film_that_dries_parts_at_voltage_zeros_and_joins_again() -> None:
    stage = stage_of(2, 20.0)
    supply = stage.supply(0.0, 1e-6)
    film = living(stage.rng, supply, 5.0, Climate(0.2, 1.2, 0.4, 0.6, 1, 4))
    parted = film.begin_us == 0.0
    changes = np.flatnonzero(np.diff(parted.astype(int)))
    assert np.count_nonzero(parted) > 10 and len(changes) >= 2
    assert np.all(film.end_us[changes] == film.begin_us[changes])
    wave = film.current_ma(supply)
    assert np.abs(wave[0]).max() == pytest.approx(5.0, rel=0.1) and not wave[parted].any()


def test_a_heated_film_leads_to_a_third_harmonic_of_its_warming() -> None:
    stage = stage_of(2)
    supply = stage.supply(0.0, 1e-6)
    film = living(stage.rng, supply, 5.0, Climate(0.1, 0.0, 0.0, 0.1, 1, 3))
    assert film.begin_us[-1] > 1.2 * film.begin_us[0] and np.all(film.rise_us > 0)


def test_the_life_of_a_band_comes_in_bursts() -> None:
    rng = np.random.default_rng(5)
    drift = Drift(1.0, 0.3, 0.05, 0.3, 0.2, 0.08)
    _, strength = band_life(rng, np.full(4_000, 0.01), drift)
    burns = strength < 1.0
    again = np.mean(burns[1:][burns[:-1]])
    assert 0.02 < burns.mean() < 0.98 and again > 2 * burns.mean()


def test_stray_current_leads_by_ninety_degrees_and_a_neighbour_tilts_it() -> None:
    lanes = lanes_of(np.random.default_rng(1), 50.0, 2.0)
    supply = energised(lanes, 18.0, cycle_of(np.random.default_rng(1), {}))
    for picofarad in (np.array([30.0, 0.0, 0.0]), np.array([30.0, 9.0, 2.0])):
        wave = capacitive_ma(supply, picofarad)[20:22].ravel()
        phase = np.pi * np.arange(2 * STEPS) / STEPS
        sign = supply.lanes.signs[20]
        found = sign * 2j * np.mean(wave * np.exp(-1j * phase)) / np.sqrt(2)
        assert found == pytest.approx(dry_phasor_ma(supply, picofarad), rel=0.02)
    assert dry_phasor_ma(supply, np.array([30.0, 0.0, 0.0])).real == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("order", "droop_hz"), [(1, 0.0), (2, 0.5)])
def test_the_sensor_has_half_the_power_at_its_corner(order: int, droop_hz: float) -> None:
    chain: Chain = replace(stage_of().chain(1.0), corner_hz=1_000.0, order=order, droop_hz=droop_hz)
    wave = np.sin(2 * np.pi * 1_000.0 * np.arange(50_000) / 50_000.0)
    length = fast_length(60_000)
    response = chain.response(np.asarray(np.fft.rfftfreq(length, 1 / 50_000.0)))
    seen = passed(wave, response, length, 0.0)[10_000:-10_000]
    assert np.std(seen) == pytest.approx(0.5, rel=0.01)


def test_lengths_for_transforms_have_small_factors_only() -> None:
    for least in (2, 1_001, 1_050_007):
        length = fast_length(least)
        rest = length
        for factor in (2, 3, 5):
            while rest % factor == 0:
                rest //= factor
        assert rest == 1 and least <= length < 1.2 * least + 4
