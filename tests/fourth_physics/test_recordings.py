"""Every family's recordings: honest labels, the same for the same seed, hard for careless twins."""

from __future__ import annotations

import numpy as np
import pytest

from tests.families.labelled import MISSING_CODE, Kind, Label, Surface
from tests.families.oracle import told
from tests.families.scoring import Score, score
from tests.families.table import failures, pooled
from tests.families.twins import amplitude_5ma, ratio_10pct
from tests.fourth_physics.families import FAMILIES, recording_of
from tests.fourth_physics.setting import RATES_HZ, drawn
from tests.fourth_physics.table import main

BY_NAME = {family.name: family for family in FAMILIES}
SHORT_S = 0.5


@pytest.fixture(scope="module")
def recordings() -> dict[str, object]:
    """One short recording a family."""
    return {family.name: recording_of(family, 1, SHORT_S) for family in FAMILIES}


def test_harmless_families_hold_no_arc_and_arcing_ones_some(recordings: dict) -> None:  # type: ignore[type-arg]
    for name, one in recordings.items():
        arcing = int(np.sum(one.truth.label == Label.ARCING))
        if one.kind is Kind.ARCING:
            assert arcing > 0 or name == "lone_arcs", name
        else:
            assert np.all(one.truth.arc_charge_c == 0), name
            assert arcing == 0, name


def test_a_judge_that_knows_the_truth_reaches_every_limit(recordings: dict) -> None:  # type: ignore[type-arg]
    scores = {name: score(one, told(one)) for name, one in recordings.items()}
    assert failures(scores) == []


def test_both_careless_twins_miss_the_limits(recordings: dict) -> None:  # type: ignore[type-arg]
    for twin in (amplitude_5ma, ratio_10pct):
        of: Score = pooled(score(one, twin(one.recording)) for one in recordings.values())
        assert of.false_windows > 10
        assert of.halfcycles.precision is not None
        assert of.halfcycles.precision < 0.9
        assert of.halfcycles.recall is not None
        assert of.halfcycles.recall < 0.98


def test_the_same_seed_gives_the_same_recording_and_another_does_not() -> None:
    family = BY_NAME["sloppy"]
    first, again, other = (recording_of(family, seed, SHORT_S) for seed in (2, 2, 4))
    assert np.array_equal(first.recording.samples, again.recording.samples)
    assert np.array_equal(first.truth.charge_c, again.truth.charge_c)
    assert not np.array_equal(first.truth.charge_c[:20], other.truth.charge_c[:20])


def test_recorded_charge_is_the_true_one(recordings: dict) -> None:  # type: ignore[type-arg]
    for name in ("metronome", "wet_heated", "always_on", "under_flat_top"):
        one = recordings[name]
        recording, truth = one.recording, one.truth
        column = recording.ranges[-1]
        channel = recording.description.channels[column]
        current = np.abs(recording.samples[:, column] * channel.gain)
        seen = float(current.sum()) / recording.description.rate_hz / 1e3
        assert seen == pytest.approx(float(truth.charge_c[1:-1].sum()), rel=0.07), name


def test_polarity_is_that_of_the_recorded_voltage(recordings: dict) -> None:  # type: ignore[type-arg]
    checked = 0
    for name, one in recordings.items():
        recording, truth = one.recording, one.truth
        if recording.voltage is None or name in ("other_phase", "to_the_trip"):
            continue
        middle = ((truth.boundaries[1:-2] + truth.boundaries[2:-1]) / 2).astype(int)
        whole = ~truth.lost[1:-1] & (middle < len(recording.samples))
        signs = np.sign(recording.samples[middle[whole], recording.voltage])
        turned = -1 if name.startswith("reversed") else 1
        assert np.array_equal(signs * turned, truth.polarity[1:-1][whole]), name
        checked += 1
    assert checked > 20


def test_lost_samples_carry_the_mark_and_gaps_are_left_out(recordings: dict) -> None:  # type: ignore[type-arg]
    lost = recordings["through_losses"].recording
    assert lost.missing is not None
    assert np.array_equal(lost.samples == MISSING_CODE, lost.missing)
    gaps = recordings["gaps"].recording
    delivered = sum(len(block.samples) for block in gaps.blocks())
    assert delivered == len(gaps.samples) - sum(end - first for first, end in gaps.gaps)
    torn = recordings["through_gaps"].truth
    assert not np.any((torn.label == Label.ARCING) & torn.lost)


def test_line_that_tripped_is_dead_and_a_fault_is_abnormal(recordings: dict) -> None:  # type: ignore[type-arg]
    trip = recordings["to_the_trip"].truth
    dead = trip.surface == Surface.DEAD_LINE
    assert dead.sum() > 5
    assert np.all(trip.charge_c[dead] < 1e-9)
    raised = recordings["earth_fault"].truth.surface
    assert np.any((raised == Surface.ABNORMAL_WET) | (raised == Surface.ABNORMAL_DRY))


def test_settings_walk_through_all_rates_and_both_frequencies() -> None:
    rng = np.random.default_rng(0)
    seen = [drawn(rng, turn, 1.0) for turn in range(10)]
    assert {one.rate_hz for one in seen} == set(RATES_HZ)
    assert {(one.rate_hz, one.nominal_hz) for one in seen[:10]} == {
        (rate, hertz) for rate in RATES_HZ for hertz in (50, 60)
    }


def test_table_prints_a_line_for_each_family_and_says_that_a_twin_fails(
    capsys: pytest.CaptureFixture[str],
) -> None:
    asked = ["--only", "metronome", "--seeds", "1", "--seconds", "0.5"]
    assert main([*asked, "--judge", "tests.families.twins:amplitude_5ma"]) == 10
    printed = capsys.readouterr().out
    assert "metronome_gaps" in printed
    assert "miss their limit" in printed
