"""The state of the surface: told by angle and shape, never by amplitude; the line's own states."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from edge.measure.plan import Calibration, InsulatorPlan, MeasurePlan, SensorRange
from edge.quantities import STATES, Flag
from tests.edge.measure.builders import (
    Played,
    Wave,
    angle,
    band_limited,
    columns,
    dead_band,
    describe,
    measured,
    sine,
    states,
    threshold_gap,
    whole,
)

RATE_HZ = 10_000.0
THETA = angle(RATE_HZ, 50, 3.0, 20.0)
KV = 12 * np.sqrt(2) * sine(THETA)
INSULATOR = InsulatorPlan(id="I1", ranges=(SensorRange(channel="I1"),), phase="A")
PLAN = MeasurePlan(nominal_hz=50, insulators=(INSULATOR,), voltage_channel="U1", nominal_kv=12.0)
FLOOR_MA = PLAN.limits.stated_floor_ma
FIRST_HALF = np.where(np.arange(len(THETA)) < 15_000, 1.0, 0.0)


def flags_of(found: Played) -> set[str]:
    return {word for row in found.minutes() for word in row.flags}


@pytest.mark.parametrize("peak_ma", [40.0, 200.0, 900.0])
def test_a_large_sinusoid_is_wet_and_never_arcs(peak_ma: float) -> None:
    found = measured(columns(peak_ma * sine(THETA), KV), plan=PLAN)
    inner = whole(found.table)
    assert states(found.table) == {"wet"}
    assert (inner.pulses[:, 1] == inner.halfcycles).all()
    row = found.minutes()[0]
    assert (row.arcing_halfcycles, row.doubtful_halfcycles) == (0, 0)
    assert row.arc_pulses == (0, 0, 0, 0, 0)


@pytest.mark.parametrize("rms_ma", [0.02, 0.8, 3.0])
def test_a_capacitive_current_is_dry_however_large(rms_ma: float) -> None:
    inner = whole(measured(columns(rms_ma * np.sqrt(2) * np.cos(THETA), KV), plan=PLAN).table)
    assert states(inner) == {"dry"}


@pytest.mark.parametrize("seconds", [1.0, 1.03, 1.05, 1.113, 1.187])
@pytest.mark.parametrize(("wave", "state"), [(np.cos, "dry"), (np.sin, "wet")])
def test_short_windows_at_the_ends_are_told_by_the_voltage_as_well(
    seconds: float, wave: Wave, state: str
) -> None:
    count = round(seconds * RATE_HZ)
    found = measured(columns(3 * wave(THETA), KV)[:count], plan=PLAN)
    assert states(found.table) == {state}
    assert Flag.STATED_FLOOR.value not in flags_of(found)


@pytest.mark.parametrize(("peak_ma", "state"), [(0.29, "dry"), (0.31, "wet")])
def test_wet_begins_at_three_tenths_of_a_milliampere_of_resistive_peak(
    peak_ma: float, state: str
) -> None:
    current = 0.5 * np.cos(THETA) + peak_ma * sine(THETA)
    assert states(whole(measured(columns(current, KV), plan=PLAN).table)) == {state}


@pytest.mark.parametrize(("extra_ma", "state"), [(0.41, "dry"), (0.44, "wet")])
def test_wet_begins_at_three_spreads_above_a_tilted_dry_phasor(extra_ma: float, state: str) -> None:
    """Dry: 1 mA r.m.s. leading by 60 degrees, spread 0.1 mA r.m.s., so 0.4243 mA peak."""
    dry = Calibration(id="dry", dry_ma=1.0, dry_deg=60.0, dry_spread_ma=0.1)
    plan = replace(PLAN, insulators=(replace(INSULATOR, calibrations=(dry,)),))
    tilted = np.sqrt(2) * sine(THETA + np.radians(60))
    found = measured(columns(tilted + extra_ma * sine(THETA), KV), plan=plan)
    assert states(whole(found.table)) == {state}
    assert Flag.NO_DRY_PHASOR.value not in flags_of(found)


@pytest.mark.parametrize(("peak_ma", "state"), [(0.99 * FLOOR_MA, "dry"), (1.01 * FLOOR_MA, "wet")])
def test_without_voltage_wet_is_told_by_the_stated_floor_and_flagged(
    peak_ma: float, state: str
) -> None:
    found = measured(columns(peak_ma * sine(THETA)), describe(voltages=()))
    assert states(whole(found.table)) == {state}
    assert (Flag.STATED_FLOOR.value in flags_of(found)) == (state == "wet")


@pytest.mark.parametrize("wave", [dead_band(30), dead_band(45), dead_band(60), threshold_gap(0.5)])
def test_dead_bands_around_every_zero_are_dense_arcing(wave: Wave) -> None:
    current = 40 * band_limited(wave, THETA, 80)
    inner = whole(measured(columns(current, KV), plan=PLAN).table)
    assert states(inner) == {"arcing-dense"}
    assert (inner.arcing == [10, 10]).all()


def test_one_arc_in_a_second_is_sparse_and_dates_itself() -> None:
    """An arc from 1.2 to 1.21 s, on a film of a milliampere."""
    burst = (np.arange(len(THETA)) >= 12_000) & (np.arange(len(THETA)) < 12_100)
    theta = angle(RATE_HZ, 50, 3.0)
    arc = np.where(burst, dead_band(45)(theta), 0.0)
    found = measured(columns(1.0 * sine(theta) + 60 * arc, 17 * sine(theta)), plan=PLAN)
    row = found.minutes()[0]
    assert row.arcing_halfcycles == 1
    assert row.state.value == "arcing-sparse"
    assert row.first_arc_us == pytest.approx(1_200_000, abs=200)
    assert row.last_arc_us == pytest.approx(1_210_000, abs=200)
    assert row.arcing_peak_ua == pytest.approx(61_000, abs=100)
    assert row.peak_ua == row.arcing_peak_ua


def test_a_dead_line_is_de_energised_from_the_moment_the_voltage_goes() -> None:
    found = measured(columns(5 * sine(THETA) * FIRST_HALF, KV * FIRST_HALF), plan=PLAN)
    named = [STATES[index].value for index in found.table.state.tolist()]
    assert named[:7] == ["wet"] * 7
    assert set(named[9:-1]) == {"de-energised"}
    row = found.minutes()[0]
    assert row.silent_from_us == row.live_us == pytest.approx(1_500_000, abs=200_000)
    assert Flag.SENSOR_FAULT.value not in row.flags


def test_a_line_that_is_dead_before_the_first_sample_is_de_energised_too() -> None:
    found = measured(columns(0 * THETA, 0 * THETA), plan=PLAN)
    assert states(whole(found.table)) == {"de-energised"}
    assert Flag.SENSOR_FAULT.value not in flags_of(found)


def test_a_current_that_goes_while_the_voltage_stays_is_no_calm() -> None:
    found = measured(columns(5 * sine(THETA) * FIRST_HALF, KV), plan=PLAN)
    named = [STATES[index].value for index in found.table.state.tolist()]
    assert set(named[9:]) == {"unknown"}
    assert Flag.SENSOR_FAULT.value in flags_of(found)


@pytest.mark.parametrize(
    ("share", "abnormal"), [(0.84, True), (0.86, False), (1.0, False), (1.14, False), (1.16, True)]
)
def test_a_voltage_outside_the_band_of_service_is_abnormal(share: float, abnormal: bool) -> None:
    found = measured(columns(0.1 * np.cos(THETA), share * KV), plan=PLAN)
    assert (Flag.VOLTAGE_ABNORMAL.value in flags_of(found)) == abnormal
    inner = whole(found.table)
    assert np.abs(inner.voltage_mv / 12e6 / share - 1).max() < 1e-3


def test_without_a_nominal_voltage_no_voltage_is_abnormal() -> None:
    found = measured(columns(0.1 * np.cos(THETA), 3 * KV), plan=replace(PLAN, nominal_kv=None))
    assert Flag.VOLTAGE_ABNORMAL.value not in flags_of(found)


def test_a_badly_distorted_voltage_is_a_doubtful_reference() -> None:
    for share, doubted in ((0.05, False), (0.2, True)):
        volts = KV + share * 12 * np.sqrt(2) * sine(5 * THETA)
        found = measured(columns(0.1 * np.cos(THETA), volts), plan=PLAN)
        assert (Flag.REFERENCE_DOUBTFUL.value in flags_of(found)) == doubted


def test_a_voltage_channel_without_mains_is_no_reference() -> None:
    found = measured(columns(20 * sine(THETA), 0 * THETA))
    assert {Flag.NO_REFERENCE.value, Flag.REFERENCE_DOUBTFUL.value} <= flags_of(found)
    assert found.minutes()[0].energy_uj is None


def test_a_channel_of_zeros_is_unknown_with_a_sensor_fault_not_dry() -> None:
    for voltages, samples in ((("A",), columns(0 * THETA, KV)), ((), columns(0 * THETA))):
        found = measured(samples, describe(voltages=voltages))
        assert states(found.table) == {"unknown"}
        assert Flag.SENSOR_FAULT.value in flags_of(found)


def test_a_constant_current_has_a_mean_but_no_fundamental_and_no_frequency() -> None:
    found = measured(columns(np.full(len(THETA), 5.0)), describe(voltages=()))
    row = found.minutes()[0]
    assert (row.mean_na, row.frequency_millihz, row.h3_ppm) == (5_000_000, None, None)
    assert Flag.NO_FREQUENCY.value in row.flags
    assert states(whole(found.table)) == {"unknown"}


def test_a_direct_current_under_the_mains_shifts_the_mean_alone() -> None:
    found = measured(columns(2.0 + 3 * np.cos(THETA), KV), plan=PLAN)
    inner = whole(found.table)
    assert np.abs(inner.mean_na / 1e6 - 2.0).max() < 1e-3
    assert np.abs(inner.h1_na / 1e6 - 3 / np.sqrt(2)).max() < 1e-3
    assert states(inner) == {"dry"}


def test_noise_without_mains_has_no_frequency_and_never_arcs() -> None:
    noise = np.random.default_rng(1).normal(0.0, 1.0, len(THETA))
    found = measured(columns(noise), describe(voltages=()))
    row = found.minutes()[0]
    assert row.frequency_millihz is None
    assert Flag.NO_FREQUENCY.value in row.flags
    assert row.arcing_halfcycles == 0
