"""The second generator's recordings: the same for a seed, and true to what flowed."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.families.fitting_the_converter import assert_codes_fit_and_truth_covers
from tests.families.labelled import Kind, Label, Labelled, Surface
from tests.families.oracle import told
from tests.families.scoring import score
from tests.families.table import failures
from tests.second_physics import burning, deliver, harder
from tests.second_physics.families import (
    BY_NAME,
    FAMILIES,
    MAINS_HZ,
    RATES_HZ,
    Family,
    conditions,
    recording_of,
)
from tests.second_physics.stage import Stage, Take
from tests.second_physics.supply import STEPS

every_family = pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.name)
arcing_families = pytest.mark.parametrize(
    "family", [f for f in FAMILIES if f.kind is Kind.ARCING], ids=lambda family: family.name
)


@cache
def made(name: str, seed: int) -> Labelled:
    """One recording of a seed, made once for all tests that only look at it."""
    return recording_of(BY_NAME[name], seed, 12.0 if name == "far-apart" else 3.0)


def stage_of(seed: int, seconds: float = 2.0) -> Stage:
    return Stage(np.random.default_rng(seed), 10_000.0, 50.0, True, seconds)


def take_of(family: Family, seed: int) -> Take:
    return family.compose(stage_of(seed))


@every_family
def test_a_seed_gives_the_same_recording_and_another_seed_another(family: Family) -> None:
    first, again, other = (family(seed, 6_400.0, 60.0, True, 1.0) for seed in (5, 5, 6))
    assert np.array_equal(first.recording.samples, again.recording.samples)
    assert np.array_equal(first.truth.label, again.truth.label)
    assert np.array_equal(first.truth.charge_c, again.truth.charge_c)
    assert not np.array_equal(first.recording.samples, other.recording.samples)


@every_family
def test_codes_fit_the_converter_and_the_truth_covers_the_record(family: Family) -> None:
    one = made(family.name, 1)
    samples_s = 12.0 if family.name == "far-apart" else 3.0
    signal, samples = one.recording.description, one.recording.samples
    assert samples.shape == (round(samples_s * signal.rate_hz), len(signal.channels))
    assert_codes_fit_and_truth_covers(one)


@every_family
def test_only_arcing_families_hold_an_arc(family: Family) -> None:
    truth = made(family.name, 0).truth
    burnt = np.isin(truth.label, (Label.ARCING, Label.DOUBTFUL))
    assert np.array_equal(burnt, truth.arc_charge_c > 0)
    assert np.any(truth.label == Label.ARCING) == (family.kind is Kind.ARCING)
    assert burnt.any() == (family.kind is Kind.ARCING)


@arcing_families
def test_columns_carry_current_with_the_voltage_and_none_at_its_zero(family: Family) -> None:
    take = take_of(family, 3)
    assert take.arcs is not None
    quiet = ~take.power_arc
    column = take.column[quiet] * take.supply.lanes.signs[quiet, None]
    assert np.all(column >= 0)
    ends = np.concatenate((column[:, :4], column[:, -4:]), axis=1)
    assert ends.max() < 0.06 * column.max()


@arcing_families
def test_the_charge_of_the_columns_is_part_of_the_charge_that_flowed(family: Family) -> None:
    truth = made(family.name, 1).truth
    arcing = truth.label == Label.ARCING
    # what stands against it there: leak, stray and direct current, pick-up of other streams
    assert np.all(truth.arc_charge_c[arcing] < 1.35 * truth.charge_c[arcing])
    assert np.all(truth.charge_c >= 0)
    inside = (truth.centre > truth.boundaries[:-1]) & (truth.centre < truth.boundaries[1:])
    assert inside.all()


@pytest.mark.parametrize(
    "family",
    [f for f in FAMILIES if f.kind is Kind.ARCING and f.name != "with-gaps"],
    ids=lambda family: family.name,
)
def test_few_arcs_are_doubtful_by_the_rule_of_truth(family: Family) -> None:
    arcs = doubts = 0
    for seed in (0, 1):
        truth = made(family.name, seed).truth
        arcs += int(np.sum(truth.label == Label.ARCING))
        doubts += int(np.sum(truth.label == Label.DOUBTFUL))
    assert doubts < 0.15 * (arcs + doubts) + 8


def test_an_arc_below_the_noise_is_doubtful() -> None:
    stage = stage_of(5)
    take = burning.faint(stage)
    hidden = replace(take, chain=replace(take.chain, noise_ma=40.0))
    truth = deliver.labelled("hidden", Kind.ARCING, 5, stage, hidden).truth
    assert not np.any(truth.label == Label.ARCING) and np.any(truth.label == Label.DOUBTFUL)


def test_an_arcing_half_cycle_of_an_interrupted_film_is_silent_before_ignition() -> None:
    take = burning.late_ignition(stage_of(8))
    assert take.arcs is not None
    for path, column in zip(take.arcs.path, take.arcs.column, strict=True):
        if column.any():
            struck = int(np.flatnonzero(column)[0])
            assert struck > STEPS / 4
            assert np.abs(path[:struck]).max() < 0.01 * np.abs(path).max()


def test_a_flashover_collapses_the_voltage_and_the_current() -> None:
    one = recording_of(BY_NAME["to-flashover"], 4, 6.0)
    take = harder.to_flashover(stage_of(4, 6.0))
    flash = np.flatnonzero(take.power_arc)
    assert np.abs(take.supply.voltage[flash[-1] + 4]).max() == 0.0
    assert np.abs(take.film_ma[flash[-1] + 4]).max() == 0.0
    channel = one.recording.description.channels[0]
    assert np.abs(one.recording.samples[:, 0]).max() >= channel.raw_max
    assert np.any(one.truth.surface == Surface.DEAD_LINE)


def test_the_dry_phasor_is_what_the_record_shows() -> None:
    for seed in range(4):
        one = BY_NAME["dry-capacitive"](seed, 10_000.0, 50.0, True, 2.0)
        marks, recording = one.truth.boundaries, one.recording
        first, last = (9, len(marks) - 10 - len(marks) % 2)
        index = np.arange(int(np.ceil(marks[first])), int(marks[last]))
        turn = np.exp(-1j * np.pi * np.interp(index, marks, np.arange(len(marks))))
        waves = [
            recording.samples[index, c] * recording.description.channels[c].gain for c in (0, 1)
        ]
        current, voltage = (np.mean(wave * turn) * np.sqrt(2) for wave in waves)
        film = one.truth.film_peak_ma.mean() / np.sqrt(2)
        found = current / (voltage / abs(voltage))
        assert found - one.truth.dry_phasor_ma == pytest.approx(film, abs=0.04 * abs(found))


def test_twenty_seeds_go_through_every_rate_mains_and_reference() -> None:
    for family in FAMILIES:
        seen = {conditions(family, seed) for seed in range(20)}
        assert seen == {(r, m, v) for r in RATES_HZ for m in MAINS_HZ for v in (True, False)}


@every_family
def test_the_truth_passes_every_limit_in_every_family(family: Family) -> None:
    scores = {}
    for seed in (0, 1):
        one = made(family.name, seed)
        scores[f"{one.family} {seed}"] = score(one, told(one))
    assert failures(scores) == []
