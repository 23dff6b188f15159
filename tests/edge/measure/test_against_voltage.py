"""Angles: in phase and quadrature, whose voltage it is, and what a sensor's delay does."""

from __future__ import annotations

import numpy as np
import pytest

from edge.measure.plan import Calibration, InsulatorPlan, MeasurePlan, SensorRange
from edge.quantities import Flag
from tests.edge.measure.builders import (
    angle,
    band_limited,
    columns,
    dead_band,
    describe,
    measured,
    sine,
    states,
    whole,
)

ROOT2 = np.sqrt(2.0)
THETA = angle(10_000.0, 50, 1.5, 20.0)
KV = 12 * ROOT2 * sine(THETA)
THIRD = 2 * np.pi / 3


def plan_with(calibration: Calibration) -> MeasurePlan:
    insulator = InsulatorPlan(
        id="I1", ranges=(SensorRange(channel="I1"),), phase="A", calibrations=(calibration,)
    )
    return MeasurePlan(nominal_hz=50, insulators=(insulator,), voltage_channel="U1")


@pytest.mark.parametrize(
    ("lead_deg", "in_phase", "quadrature"),
    [(0, 1.0, 0.0), (90, 0.0, 1.0), (-90, 0.0, -1.0), (180, -1.0, 0.0), (30, 0.866025, 0.5)],
)
def test_a_current_that_leads_has_positive_quadrature(
    lead_deg: float, in_phase: float, quadrature: float
) -> None:
    table = whole(measured(columns(2 * ROOT2 * sine(THETA + np.radians(lead_deg)), KV)).table)
    assert np.abs(table.in_phase_na / 2e6 - in_phase).max() < 1e-3
    assert np.abs(table.quadrature_na / 2e6 - quadrature).max() < 1e-3


def test_a_delayed_firing_current_lags() -> None:
    wave = band_limited(lambda t: np.where(np.remainder(t, np.pi) >= 1.2, np.sin(t), 0), THETA, 80)
    table = whole(measured(columns(20 * wave, KV)).table)
    assert (table.quadrature_na < -1_000_000).all()
    assert (table.in_phase_na > 1_000_000).all()


@pytest.mark.parametrize("voltage_phase", ["A", "B", "C"])
def test_one_voltage_serves_the_insulators_of_all_three_phases(voltage_phase: str) -> None:
    lags = {"A": 0.0, "B": THIRD, "C": 2 * THIRD}
    description = describe(currents=("A", "B", "C"), voltages=(voltage_phase,))
    currents = [3 * ROOT2 * sine(THETA - lag) for lag in lags.values()]
    reference = 12 * ROOT2 * sine(THETA - lags[voltage_phase])
    found = measured(columns(*currents, reference), description)
    for table in found.windows.values():
        inner = whole(table)
        assert np.abs(inner.in_phase_na / 3e6 - 1).max() < 1e-3
        assert np.abs(inner.quadrature_na / 3e6).max() < 1e-3
        assert (inner.energy_uj.sum(axis=1) > 0).all()


def test_capacitive_currents_of_all_phases_are_dry_against_one_voltage() -> None:
    lags = (0.0, THIRD, 2 * THIRD)
    currents = [0.8 * ROOT2 * np.cos(THETA - lag) for lag in lags]
    found = measured(columns(*currents, KV), describe(currents=("A", "B", "C")))
    for table in found.windows.values():
        inner = whole(table)
        assert states(inner) == {"dry"}
        assert np.abs(inner.quadrature_na / 0.8e6 - 1).max() < 1e-3


def test_dead_bands_of_all_phases_arc_at_their_own_zeros_and_polarity() -> None:
    lags = (0.0, THIRD, 2 * THIRD)
    currents = [40 * band_limited(dead_band(45), THETA - lag, 80) for lag in lags]
    found = measured(columns(*currents, KV), describe(currents=("A", "B", "C")))
    for lag, table in zip(lags, found.windows.values(), strict=True):
        inner = whole(table)
        assert states(inner) == {"arcing-dense"}
        assert (inner.arcing == [10, 10]).all()
        begins = np.sin(THETA[inner.start] - lag)
        assert np.abs(begins).max() < 0.05


def test_each_phase_is_told_by_its_own_voltage_where_there_is_one() -> None:
    """The voltage of B stands 100 degrees behind A's: only its own channel can know."""
    lag = np.radians(100)
    description = describe(currents=("A", "B"), voltages=("A", "B"))
    samples = columns(
        ROOT2 * sine(THETA), ROOT2 * sine(THETA - lag), KV, 10 * ROOT2 * sine(THETA - lag)
    )
    found = measured(samples, description)
    for table in found.windows.values():
        inner = whole(table)
        assert np.abs(inner.in_phase_na / 1e6 - 1).max() < 1e-3
        assert np.abs(inner.quadrature_na / 1e6).max() < 1e-3
    assert np.abs(whole(found.windows["I2"]).voltage_mv / 10e6 - 1).max() < 1e-3


def test_phase_names_l1_to_l3_mean_the_same_as_a_to_c() -> None:
    description = describe(currents=("L2",), voltages=("L1",))
    table = whole(measured(columns(ROOT2 * sine(THETA - THIRD), KV), description).table)
    assert np.abs(table.in_phase_na / 1e6 - 1).max() < 1e-3


def test_a_sensors_delay_is_taken_out_by_its_calibration() -> None:
    delayed_ma = 2 * ROOT2 * sine(THETA - np.radians(12))
    raw = whole(measured(columns(delayed_ma, KV)).table)
    plan = plan_with(Calibration(id="c1", lag_deg=12.0))
    mended = whole(measured(columns(delayed_ma, KV), plan=plan).table)
    assert np.abs(raw.quadrature_na / 2e6 + np.sin(np.radians(12))).max() < 1e-3
    assert np.abs(mended.quadrature_na / 2e6).max() < 1e-3
    assert np.abs(mended.in_phase_na / 2e6 - 1).max() < 1e-3


def test_a_reversed_sensor_is_turned_by_a_negative_gain() -> None:
    wave = np.where(sine(THETA) > 0, 10 * sine(THETA), 4 * sine(THETA))
    plan = plan_with(Calibration(id="c1", gain=-2.0))
    row = measured(columns(-wave / 2, KV), plan=plan).minutes()[0]
    assert row.charge_nc[0] == pytest.approx(2.5 * row.charge_nc[1], rel=1e-3)
    assert row.in_phase_na is not None
    assert row.in_phase_na > 0
    assert row.calibration == "c1"


def test_an_offset_of_the_calibration_moves_the_mean_and_nothing_else() -> None:
    plan = plan_with(Calibration(id="c1", offset_ma=-1.5))
    table = whole(measured(columns(1.5 + 3 * sine(THETA), KV), plan=plan).table)
    assert np.abs(table.mean_na).max() < 2_000
    assert np.abs(table.rms_na / 1e6 - 3 / ROOT2).max() < 1e-3


def test_without_a_voltage_there_is_no_phase_and_no_energy_and_the_row_says_so() -> None:
    found = measured(columns(3 * sine(THETA)), describe(voltages=()))
    row = found.minutes()[0]
    assert (row.in_phase_na, row.quadrature_na, row.energy_uj, row.voltage_mv) == (None,) * 4
    assert row.frequency_millihz == pytest.approx(50_000, abs=1)
    assert Flag.NO_REFERENCE.value in row.flags
    assert Flag.STATED_FLOOR.value in row.flags
