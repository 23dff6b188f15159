"""The generator against its own physics: truth and samples agree, harmless means no arc at all."""

import numpy as np
import pytest

from tests.families.arcing import glow_arcs, usual
from tests.families.arcs import RECALLED_A, band_cm, law_current, least_voltage
from tests.families.families import FAMILIES, MAINS_HZ, RATES_HZ, Family, conditions, recording_of
from tests.families.labelled import MISSING_CODE, Kind, Label
from tests.families.scene import LEAST_BURNING_S, Stage, Take
from tests.families.sensor import Sensor, filtered

SHORT_S = 2.0
every_family = pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.name)
arcing_families = pytest.mark.parametrize(
    "family", [f for f in FAMILIES if f.kind is Kind.ARCING], ids=lambda family: family.name
)


def take_of(family: Family, seed: int = 3, seconds: float = 5.0) -> Take:
    rng = np.random.default_rng([seed, *family.name.encode()])
    return family.compose(Stage(rng, 10_000.0, 50.0, True, seconds))


@every_family
def test_a_seed_gives_the_same_recording_and_another_seed_another(family: Family) -> None:
    first, again, other = (family(seed, 6_400.0, 60.0, True, SHORT_S) for seed in (5, 5, 6))
    assert np.array_equal(first.recording.samples, again.recording.samples)
    assert np.array_equal(first.truth.label, again.truth.label)
    assert not np.array_equal(first.recording.samples, other.recording.samples)


@every_family
def test_codes_fit_the_converter_and_the_recording_its_description(family: Family) -> None:
    recording = recording_of(family, 1, SHORT_S).recording
    signal = recording.description
    assert recording.samples.shape == (round(SHORT_S * signal.rate_hz), len(signal.channels))
    for column, channel in enumerate(signal.channels):
        codes = recording.samples[:, column]
        present = codes[codes != MISSING_CODE]
        assert channel.raw_min is not None and channel.raw_max is not None
        assert present.min() >= channel.raw_min and present.max() <= channel.raw_max


@every_family
def test_only_arcing_families_hold_an_arc(family: Family) -> None:
    seconds = 20.0 if family.name == "far-apart" else 5.0
    truth = recording_of(family, 2, seconds).truth
    burns = np.isin(truth.label, (Label.ARCING, Label.DOUBTFUL))
    if family.kind is Kind.ARCING:
        assert np.sum(truth.label == Label.ARCING) > 0
    else:
        assert not burns.any() and truth.arc_charge_c.sum() == 0.0


@arcing_families
def test_charge_of_the_arcs_adds_up_to_the_current_that_flowed(family: Family) -> None:
    take = take_of(family)
    assert take.arcs_ma is not None
    labelled = family(3, 10_000.0, 50.0, True, 5.0)
    mains, truth = take.mains, labelled.truth
    first, last = truth.boundaries[[0, -1]] * mains.step + mains.lead
    within = np.abs(take.arcs_ma[int(np.ceil(first)) : int(np.ceil(last))])
    assert truth.arc_charge_c.sum() == pytest.approx(
        within.sum() / mains.inner_hz / 1000, rel=1e-3, abs=1e-9
    )
    assert np.all(truth.arc_charge_c[truth.label == Label.HARMLESS] < 1e-12)


@arcing_families
def test_nothing_of_an_arc_is_left_about_the_voltage_zero(family: Family) -> None:
    take = take_of(family)
    assert take.arcs_ma is not None
    near = np.abs(take.mains.voltage) < 0.08
    assert np.max(np.abs(take.arcs_ma[near])) < 0.01 * np.max(np.abs(take.arcs_ma))


@arcing_families
def test_an_arc_flows_with_the_voltage(family: Family) -> None:
    take = take_of(family)
    assert take.arcs_ma is not None
    burning = take.arcs_ma != 0
    wrong = burning & (take.arcs_ma * take.mains.voltage < 0)
    assert wrong.sum() < 1e-3 * burning.sum()


def test_the_current_solves_the_arc_law() -> None:
    rng = np.random.default_rng(1)
    share, n = rng.uniform(0.02, 0.4, 5_000), rng.uniform(0.4, 0.8, 5_000)
    voltage = least_voltage(share, n) + rng.uniform(0.02, 0.5, 5_000)
    current = law_current(voltage, share, n)
    assert np.allclose(share * current**-n + (1 - share) * current, voltage, atol=2e-3)


def test_an_arc_cannot_burn_below_the_least_voltage_of_its_law() -> None:
    share, n = np.full(3, 0.3), np.array([0.5, 0.76, 0.0])
    below = least_voltage(share, n) - 1e-6
    assert np.all(law_current(below, share, n) == 0.0)
    assert least_voltage(share, n)[2] == pytest.approx(0.3)


def test_a_glow_starts_without_a_step() -> None:
    share, n = np.full(4, 0.5), np.zeros(4)
    current = law_current(np.array([0.49, 0.5001, 0.75, 1.0]), share, n)
    assert np.allclose(current, [0.0, 0.0002, 0.5, 1.0], atol=1e-6)


def test_burning_voltages_stand_for_dry_bands_of_millimetres_to_centimetres() -> None:
    rng = np.random.default_rng(4)
    stage = Stage(rng, 10_000.0, 50.0, True, 5.0)
    plan = usual(stage, stage.supply())
    lengths = np.concatenate([band_cm(plan, 18_000.0, a) for a in RECALLED_A])
    assert lengths.min() > 0.02 and lengths.max() < 15.0


def test_a_glow_is_planned_without_exponent() -> None:
    plan = glow_arcs(np.random.default_rng(1), np.arange(9), np.full(9, 5.0))
    assert np.all(plan.exponent == 0.0) and np.all(plan.strike >= plan.burning)


@pytest.mark.parametrize("mains_hz", MAINS_HZ)
@pytest.mark.parametrize("seed", range(6))
def test_boundaries_are_zeros_of_a_voltage_within_one_hertz(mains_hz: float, seed: int) -> None:
    stage = Stage(np.random.default_rng(seed), 10_000.0, mains_hz, True, 20.0)
    mains = stage.supply(0.0, drift_hz=0.3)
    hertz = mains.rate_hz / np.diff(mains.boundaries) / 2
    assert np.all(np.abs(hertz - mains_hz) <= 1.0 + 1e-3)
    assert np.ptp(hertz) > 0.02
    index = np.arange(len(mains.voltage))
    at = mains.boundaries * mains.step + mains.lead
    assert np.max(np.abs(np.interp(at, index, mains.voltage))) < 5e-3
    middle = (at[:-1] + at[1:]) / 2
    assert np.allclose(np.interp(middle, index, mains.voltage), mains.signs, atol=0.01)


@pytest.mark.parametrize(("order", "expected"), [(1, 0.5**0.5), (2, 0.5**0.5)])
def test_the_sensor_halves_the_power_at_its_corner(order: int, expected: float) -> None:
    stage = Stage(np.random.default_rng(1), 10_000.0, 50.0, True, 2.0)
    mains = stage.supply(0.0)
    sensor = Sensor(5.0, 16, 1_000.0, order, 0.0, 5.0, 0.0)
    tone = np.sin(2 * np.pi * 1_000.0 * mains.seconds)
    seen = filtered(mains, sensor, tone)[2_000:-2_000]
    assert np.std(seen) * 2**0.5 == pytest.approx(expected, rel=0.01)


def test_a_skewed_sensor_delays_its_channel() -> None:
    stage = Stage(np.random.default_rng(1), 10_000.0, 50.0, True, 2.0)
    mains = stage.supply(0.0)
    wave = np.sin(2 * np.pi * 50.0 * mains.seconds)
    prompt, late = (
        filtered(mains, Sensor(5.0, 16, 2_000.0, 1, 0.0, 5.0, skew), wave)[2_000:-2_000]
        for skew in (0.0, 50e-6)
    )
    angle = np.arcsin(np.max(np.abs(late - prompt)) / 2) * 2
    assert angle == pytest.approx(2 * np.pi * 50.0 * 50e-6, rel=0.03)


def test_a_sensor_with_droop_passes_no_direct_current() -> None:
    stage = Stage(np.random.default_rng(1), 10_000.0, 50.0, True, 2.0)
    mains = stage.supply(0.0)
    direct = np.ones(len(mains.voltage))
    assert np.max(np.abs(filtered(mains, Sensor(5.0, 16, 1e3, 1, 0.5, 5.0, 0.0), direct))) < 0.2


def test_twenty_seeds_go_through_every_rate_mains_and_reference() -> None:
    for family in FAMILIES:
        seen = {conditions(family, seed) for seed in range(20)}
        assert seen == {(r, m, v) for r in RATES_HZ for m in MAINS_HZ for v in (True, False)}


def test_a_gap_leaves_its_rows_out_and_the_counter_goes_on() -> None:
    recording = recording_of(next(f for f in FAMILIES if f.name == "gaps"), 1).recording
    blocks = list(recording.blocks())
    assert len(blocks) == len(recording.gaps) + 1
    for (first, end), before, after in zip(recording.gaps, blocks, blocks[1:], strict=False):
        assert before.counter_end == first and after.counter == end


def test_no_arc_shorter_than_the_limit_is_held_against_a_detector() -> None:
    for family in FAMILIES:
        if family.kind is Kind.ARCING:
            labelled = family(1, 10_000.0, 50.0, True, 4.0)
            take = take_of(family, 1, 4.0)
            assert take.arcs_ma is not None
            held = np.flatnonzero(labelled.truth.label == Label.ARCING)
            for half in held[:40]:
                first, end = (
                    int(edge * take.mains.step + take.mains.lead)
                    for edge in labelled.truth.boundaries[half : half + 2]
                )
                burning = np.count_nonzero(take.arcs_ma[first : end + 1]) / take.mains.inner_hz
                assert burning > LEAST_BURNING_S - 1e-4


def test_after_flashover_and_trip_only_noise_is_left() -> None:
    labelled = next(f for f in FAMILIES if f.name == "to-flashover")(4, 10_000.0, 50.0, True)
    channel = labelled.recording.description.channels[0]
    tail = labelled.recording.samples[-5_000:, 0] * channel.gain
    assert np.max(np.abs(labelled.recording.samples[:, 0])) == channel.raw_max
    assert np.max(np.abs(tail - tail.mean())) < 1.0
