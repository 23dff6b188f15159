"""Two ranges of one sensor, converter ends, and calibrations by date."""

from __future__ import annotations

import numpy as np
import pytest

from edge.measure.flags import flag_bits
from edge.measure.linking import merged
from edge.measure.plan import Calibration, InsulatorPlan, MeasurePlan, SensorRange
from edge.quantities import Flag
from edge.samples import Channel, ChannelKind, SignalDescription
from tests.edge.measure.builders import (
    Floats,
    anchor,
    angle,
    columns,
    describe,
    measured,
    ratio,
    sine,
    states,
    whole,
)

RATE_HZ = 10_000.0
THETA = angle(RATE_HZ, 50, 1.5, 20.0)
KV = 12 * np.sqrt(2) * sine(THETA)
FINE_STEP_MA, COARSE_STEP_MA, CODE_MAX = 0.001, 0.05, 10_000


def two_ranges() -> tuple[SignalDescription, MeasurePlan]:
    """10 mA in steps of 1 uA, and 500 mA in steps of 50 uA."""
    current, ends = ChannelKind.CURRENT, (-CODE_MAX, CODE_MAX)
    description = SignalDescription(
        RATE_HZ,
        50,
        (
            Channel("fine", current, "A", FINE_STEP_MA, 0.0, *ends),
            Channel("coarse", current, "A", COARSE_STEP_MA, 0.0, *ends),
            Channel("U1", ChannelKind.VOLTAGE, "A"),
        ),
    )
    ranges = (
        SensorRange(channel="fine", full_scale_ma=10.0),
        SensorRange(channel="coarse", full_scale_ma=500.0),
    )
    insulator = InsulatorPlan(id="I1", ranges=ranges, phase="A")
    plan = MeasurePlan(nominal_hz=50, insulators=(insulator,), voltage_channel="U1")
    return description, plan


def converted(current: Floats, step_ma: float) -> Floats:
    return np.clip(np.rint(current / step_ma), -CODE_MAX, CODE_MAX)


@pytest.mark.parametrize("peak_ma", [0.05, 5.0, 8.5, 9.6, 12.0, 100.0, 499.0])
def test_two_ranges_make_one_current_without_a_step(peak_ma: float) -> None:
    """The fundamental holds, and a step at the seam would show as distortion."""
    description, plan = two_ranges()
    current = peak_ma * sine(THETA)
    samples = columns(converted(current, FINE_STEP_MA), converted(current, COARSE_STEP_MA), KV)
    inner = whole(measured(samples, description, plan).table)
    resolution = FINE_STEP_MA / peak_ma if peak_ma < 8 else COARSE_STEP_MA / peak_ma
    assert np.abs(inner.h1_na / 1e6 / (peak_ma / np.sqrt(2)) - 1).max() < 1e-3
    assert ratio(inner.thd_ppm).max() < resolution
    assert states(inner) <= {"dry", "wet"}
    taken_over = bool(inner.flags[0] & flag_bits(Flag.FINE_RANGE_CLIPPED))
    assert taken_over == (peak_ma > 10.0)
    assert not (inner.flags & flag_bits(Flag.SATURATED)).any()


def test_ranges_that_disagree_by_two_percent_meet_without_a_jump() -> None:
    description, plan = two_ranges()
    current = 40 * sine(THETA)
    samples = columns(
        converted(current, FINE_STEP_MA), converted(1.02 * current, COARSE_STEP_MA), KV
    )
    inner = whole(measured(samples, description, plan).table)
    assert ratio(inner.thd_ppm).max() < 0.02
    assert (inner.arcing == 0).all()


def test_the_seam_of_two_ranges_is_a_slope_and_not_a_step() -> None:
    """Two percent of 8 mA apart: the merged current never moves by a tenth of that at once."""
    coarse = np.linspace(-20.0, 20.0, 20_001)
    fine = np.clip(coarse / 1.02, -10.0, 10.0)
    one = merged(fine, coarse, 10.0)
    assert np.array_equal(one[np.abs(coarse) < 8.0], fine[np.abs(coarse) < 8.0])
    assert np.array_equal(one[np.abs(coarse) > 9.5], coarse[np.abs(coarse) > 9.5])
    steps = np.diff(one)
    assert (steps > 0).all()
    assert steps.max() < 0.002 + 0.016


def test_beyond_the_coarse_range_the_row_says_that_it_is_saturated() -> None:
    description, plan = two_ranges()
    current = 600 * sine(THETA)
    samples = columns(converted(current, FINE_STEP_MA), converted(current, COARSE_STEP_MA), KV)
    row = measured(samples, description, plan).minutes()[0]
    assert row.clipped_halfcycles >= row.halfcycles - 2
    assert Flag.SATURATED.value in row.flags
    assert row.peak_ua == 500_000


def clipping_channel() -> SignalDescription:
    """Twelve bits, not symmetrical, 10 uA a step."""
    current = Channel("I1", ChannelKind.CURRENT, "A", 0.01, 0.0, -2048, 2047)
    return SignalDescription(RATE_HZ, 50, (current, Channel("U1", ChannelKind.VOLTAGE, "A")))


@pytest.mark.parametrize(
    ("positive_ma", "negative_ma", "clipped"),
    [(30.0, 30.0, 20), (20.3, 20.3, 0), (30.0, 5.0, 10), (5.0, 30.0, 10), (20.47, 5.0, 10)],
)
def test_a_half_cycle_at_either_end_of_the_converter_is_clipped(
    positive_ma: float, negative_ma: float, clipped: int
) -> None:
    theta = angle(RATE_HZ, 50, 1.5)
    current = np.where(sine(theta) > 0, positive_ma, negative_ma) * sine(theta)
    codes = np.clip(np.rint(current / 0.01), -2048, 2047)
    inner = whole(measured(columns(codes, 17 * sine(theta)), clipping_channel()).table)
    assert (inner.clipped_halfcycles == clipped).all()
    assert ((inner.flags & flag_bits(Flag.SATURATED)) > 0).all() == (clipped > 0)


def test_a_saturated_sine_is_wet_with_a_flat_top_and_no_arc() -> None:
    codes = np.clip(np.rint(45 * sine(THETA) / 0.01), -2048, 2047)
    inner = whole(measured(columns(codes, KV), clipping_channel()).table)
    assert states(inner) == {"wet"}
    assert np.abs(inner.h3_cdeg / 100).max() < 1.0


def test_a_negative_gain_of_a_channel_turns_its_converter_ends_with_it() -> None:
    turned = Channel("I1", ChannelKind.CURRENT, "A", -0.01, 0.0, -2048, 2047)
    description = SignalDescription(RATE_HZ, 50, (turned, Channel("U1", ChannelKind.VOLTAGE, "A")))
    codes = np.clip(np.rint(-30 * sine(THETA) / 0.01), -2048, 2047)
    inner = whole(measured(columns(codes, KV), description).table)
    assert (inner.clipped_halfcycles == 20).all()
    assert (inner.in_phase_na > 0).all()


def test_the_newest_calibration_valid_at_the_segments_start_scales_it() -> None:
    day_us = 86_400_000_000
    begin_us = anchor().utc_ns // 1000
    dated = tuple(
        Calibration(id=name, from_us=begin_us + shift, gain=gain)
        for name, shift, gain in (("old", -day_us, 2.0), ("due", 0, 3.0), ("next", day_us, 5.0))
    )
    insulator = InsulatorPlan(
        id="I1", ranges=(SensorRange(channel="I1"),), phase="A", calibrations=dated
    )
    plan = MeasurePlan(nominal_hz=50, insulators=(insulator,), voltage_channel="U1")
    row = measured(columns(sine(THETA), KV), describe(), plan).minutes()[0]
    assert row.calibration == "due"
    assert row.h1_na == pytest.approx(3e6 / np.sqrt(2), rel=1e-3)
