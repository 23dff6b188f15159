"""Charge, i-squared-t, energy and counts against closed forms, over an hour and by polarity."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from edge.measure import stepping
from edge.measure.plan import plan_from_description
from edge.records import IntervalRow, Span
from edge.samples import SampleBlock, SourceItem, StreamEnd
from tests.edge.measure.builders import (
    anchor,
    angle,
    columns,
    dead_band,
    describe,
    fed,
    measured,
    sine,
)

HOUR_RATE_HZ = 4_800.0
HOUR_BLOCK_S = 10


def hour_of(peak_ma: float) -> Iterator[SourceItem]:
    """Every sample of an hour of a 50 Hz sine, in blocks of ten seconds."""
    block = columns(peak_ma * np.sin(angle(HOUR_RATE_HZ, 50, HOUR_BLOCK_S)))
    yield anchor("2026-03-07T21:00:00")
    for number in range(3600 // HOUR_BLOCK_S):
        yield SampleBlock(number * len(block), block)
    yield StreamEnd(round(3600 * HOUR_RATE_HZ), "end")


@pytest.fixture(scope="module")
def hour_rows() -> list[IntervalRow]:
    description = describe(HOUR_RATE_HZ, voltages=())
    state = stepping.initial(plan_from_description(description), description)
    rows: list[IntervalRow] = []
    for item in hour_of(10.0):
        state, found = stepping.step(state, item)
        rows += [row for row in found.rows if row.span is Span.MINUTE]
    return rows


def test_ten_milliamperes_for_an_hour_carry_22_918_coulombs(hour_rows: list[IntervalRow]) -> None:
    """Charge of a sine of peak I: I / (pi f) a half-cycle; computed."""
    assert sum(sum(row.charge_nc) for row in hour_rows) / 1e9 == pytest.approx(22.918, rel=1e-3)


def test_an_hour_at_fifty_hertz_has_exactly_360_000_half_cycles(
    hour_rows: list[IntervalRow],
) -> None:
    assert sum(row.halfcycles for row in hour_rows) == 360_000
    assert sum(row.duration_us for row in hour_rows) == 3_600_000_000
    assert len(hour_rows) == 60


def test_every_half_cycle_of_ten_milliamperes_is_a_pulse_above_five_and_none_above_twenty(
    hour_rows: list[IntervalRow],
) -> None:
    pulses = np.sum([row.pulses for row in hour_rows], axis=0)
    assert pulses.tolist() == [360_000, 0, 0, 0, 0]


def test_an_hour_of_a_harmless_sine_arcs_in_no_half_cycle(hour_rows: list[IntervalRow]) -> None:
    assert {row.state.value for row in hour_rows} == {"wet"}
    assert sum(row.arcing_halfcycles for row in hour_rows) == 0
    assert sum(sum(row.arcing_charge_nc) for row in hour_rows) == 0


def test_a_sines_square_and_energy_are_those_of_its_rms() -> None:
    """10 mA peak against 12 kV r.m.s. for 2 s: 1e-4 A2s and 12 000 x 0.0070711 x 2 J."""
    theta = angle(10_000.0, 50, 2.0)
    row = measured(columns(10 * sine(theta), 12 * np.sqrt(2) * sine(theta))).minutes()[0]
    assert sum(row.i2t_pa2s) / 1e12 == pytest.approx(1e-4, rel=1e-4)
    assert row.energy_uj is not None
    assert sum(row.energy_uj) / 1e6 == pytest.approx(12_000 * 0.01 / np.sqrt(2) * 2, rel=1e-4)
    assert row.energy_uj[0] == pytest.approx(row.energy_uj[1], rel=1e-3)


def test_a_capacitive_current_carries_charge_but_no_energy() -> None:
    theta = angle(10_000.0, 50, 2.0)
    row = measured(columns(0.1 * np.cos(theta), 12 * np.sqrt(2) * sine(theta))).minutes()[0]
    assert sum(row.charge_nc) / 1e9 == pytest.approx(0.1e-3 * 2 / np.pi * 2, rel=1e-3)
    assert row.energy_uj is not None
    assert abs(sum(row.energy_uj)) / 1e6 < 1e-4 * 12_000 * 0.1e-3 / np.sqrt(2) * 2


def test_charge_goes_to_the_polarity_in_which_the_current_flows() -> None:
    theta = angle(10_000.0, 50, 2.0)
    current = np.where(sine(theta) > 0, 10.0, 4.0) * sine(theta)
    row = measured(columns(current, 12 * sine(theta))).minutes()[0]
    positive, negative = row.charge_nc
    assert positive / 1e9 == pytest.approx(0.01 * 2 / np.pi, rel=1e-3)
    assert negative / 1e9 == pytest.approx(0.004 * 2 / np.pi, rel=1e-3)
    assert row.mean_na is not None
    assert row.mean_na / 1e6 == pytest.approx((10 - 4) / np.pi, rel=1e-3)


@pytest.mark.parametrize("polarity", [1, -1])
def test_arcs_of_one_polarity_are_counted_and_summed_there_alone(polarity: int) -> None:
    theta = angle(10_000.0, 50, 2.0)
    wave = dead_band(45)(theta)
    current = 40 * np.where(polarity * wave > 0, wave, 0.0)
    row = measured(columns(current, 12 * sine(theta))).minutes()[0]
    side = 0 if polarity > 0 else 1
    arcs = (row.arcing_positive, row.arcing_negative)
    assert arcs[side] >= 99
    assert arcs[1 - side] == 0
    assert row.arcing_charge_nc[side] / 1e9 == pytest.approx(
        0.040 / np.pi * np.cos(np.radians(45)) * 2, rel=0.02
    )
    assert row.arcing_charge_nc[1 - side] == 0
    assert row.arcing_i2t_pa2s[side] <= row.i2t_pa2s[side]


def test_a_pulse_level_must_be_exceeded_not_only_reached() -> None:
    """Peaks that lie on samples: 100 samples half a cycle, the crest on the 50th."""
    theta = angle(10_000.0, 50, 1.0)
    for peak_ma, counted in ((20.0, [100, 0, 0, 0, 0]), (20.002, [100, 100, 0, 0, 0])):
        row = measured(columns(peak_ma * sine(theta), sine(theta))).minutes()[0]
        assert list(row.pulses) == counted


def test_a_blocks_size_of_one_sample_changes_no_sum() -> None:
    theta = angle(4_800.0, 50, 1.0)
    samples = columns(30 * dead_band(45)(theta), 12 * sine(theta))
    description = describe(4_800.0)
    plan = plan_from_description(description)
    single = [SampleBlock(n, samples[n : n + 1]) for n in range(len(samples))]
    fine = fed(plan, description, [anchor(), *single, StreamEnd(len(samples), "end")])
    assert fine.rows == measured(samples, description).rows
