"""Each recording, replayed: the facts of its truth, and apart from them the digests."""

from __future__ import annotations

from dataclasses import replace

import pytest

from edge.quantities import State
from tests.replay.expectation import Expectation, read_expectation
from tests.replay.fact_check import CHECKS, faults_of
from tests.replay.refresh import digests_of
from tests.replay.shelf import OUTPUTS, expectations, recordings, replayed
from tests.replay.truth_facts import Share

NAMES = tuple(recordings())


def expected_of(name: str) -> Expectation:
    return read_expectation(expectations()[name])


@pytest.mark.parametrize("name", NAMES)
def test_facts_of_the_truth_hold_in_a_replay(name: str) -> None:
    expectation = expected_of(name)
    faults = faults_of(expectation, replayed(name))
    assert not faults, f"{name}: {'; '.join(faults)}\nA person expects: {expectation.expected}"


@pytest.mark.parametrize("name", NAMES)
def test_outputs_are_the_golden_ones_byte_for_byte(name: str) -> None:
    golden = expected_of(name).golden
    assert golden is not None, f"{name} was never refreshed; see replay_data/README.md"
    found = digests_of(replayed(name))
    changed = [output for output in OUTPUTS if found[output] != golden.digests[output]]
    assert not changed, (
        f"{name}: {', '.join(changed)} changed since {golden.history[-1].software}; if the facts "
        "hold, compare the rows, then refresh with a reason, or find the tie that rounds otherwise"
    )


WRONG = {
    "arcing": {"arcing": 300},
    "charge": {"arcing_charge_c": 1.0},
    "cover": {"seconds": 99.0},
    "states": {"states": {State.WET: Share(1.0, 1.0)}},
    "alarms": {"alarms": ("over-range",)},
}


@pytest.mark.parametrize("check", WRONG)
def test_a_wrong_fact_is_found_by_its_own_check(check: str) -> None:
    expectation = expected_of("dry_band_arcing_50hz")
    wrong = replace(expectation, facts=replace(expectation.facts, **WRONG[check]))  # type: ignore[arg-type]
    found = replayed("dry_band_arcing_50hz")
    failing = {each.__name__ for each in CHECKS if each(wrong, found)}
    assert failing == {check}


def test_a_wrong_insulator_flag_or_spike_count_is_found_too() -> None:
    corona = "beaded_with_corona_50hz"
    expectation, found = expected_of(corona), replayed(corona)
    many = replace(expectation, facts=replace(expectation.facts, spikes=500))
    absent, wrong = replace(expectation, flags=("gap",)), replace(expectation, insulator="I9")
    unwanted = replace(expectation, no_flags=("no-dry-phasor",))
    assert [len(faults_of(each, found)) > 0 for each in (many, absent, wrong, unwanted)] == [
        True
    ] * 4
