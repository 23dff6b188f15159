"""The tables of states are total, and say what the rules say."""

from __future__ import annotations

from itertools import product

import pytest

from gateway.alarms.states import (
    CORES,
    NEXT,
    SHOWN_OF,
    VEILS,
    Core,
    Shown,
    Stimulus,
    Veil,
    arrows,
    shown,
    state_diagram,
)


def test_every_combination_of_memories_shows_exactly_one_state() -> None:
    assert set(SHOWN_OF) == set(product(CORES, VEILS))
    assert len(SHOWN_OF) == 64
    assert set(SHOWN_OF.values()) == set(Shown)


def test_every_stimulus_has_an_answer_in_every_core() -> None:
    assert set(NEXT) == set(product(CORES, Stimulus))


def test_out_of_service_goes_before_design_and_design_before_shelving() -> None:
    for core in CORES:
        assert shown(core, Veil(True, True, True)) is Shown.OUT_OF_SERVICE
        assert shown(core, Veil(False, True, True)) is Shown.SUPPRESSED
        assert shown(core, Veil(False, False, True)) is Shown.SHELVED


@pytest.mark.parametrize("core", CORES)
def test_each_stimulus_moves_only_the_memories_that_it_speaks_of(core: Core) -> None:
    after = {stimulus: NEXT[core, stimulus] for stimulus in Stimulus}
    assert after[Stimulus.IN].is_in and after[Stimulus.IN_LATCHING].is_in
    assert after[Stimulus.IN_LATCHING].latched
    assert after[Stimulus.IN].latched == core.latched
    assert not after[Stimulus.OUT].is_in
    assert after[Stimulus.OUT][1:] == core[1:]
    assert after[Stimulus.ACKNOWLEDGE] == core._replace(acknowledged=True)
    for stimulus in set(Stimulus) - {Stimulus.IN, Stimulus.IN_LATCHING, Stimulus.OUT}:
        assert after[stimulus].is_in == core.is_in
    for stimulus in set(Stimulus) - {Stimulus.IN_LATCHING, Stimulus.RESET}:
        assert after[stimulus].latched == core.latched


@pytest.mark.parametrize("core", CORES)
def test_what_goes_in_from_out_is_new_and_what_is_in_stays_as_it_is(core: Core) -> None:
    assert NEXT[core, Stimulus.IN].acknowledged == (core.is_in and core.acknowledged)


@pytest.mark.parametrize("core", CORES)
def test_a_reset_ends_a_latch_only_when_it_is_out_and_acknowledged(core: Core) -> None:
    resettable = core == Core(False, True, True)
    assert NEXT[core, Stimulus.RESET] == (core._replace(latched=False) if resettable else core)


@pytest.mark.parametrize("core", CORES)
def test_only_what_is_in_calls_again_when_renewed_or_revealed(core: Core) -> None:
    for stimulus in (Stimulus.RENEW, Stimulus.REVEAL):
        after = NEXT[core, stimulus]
        if core.is_in:
            assert not after.acknowledged
        else:
            assert after.acknowledged >= core.acknowledged


def test_the_diagram_has_every_move_of_the_table_and_no_other() -> None:
    drawn = {
        tuple(part.strip() for part in line.partition(":")[0].split("-->"))
        for line in state_diagram().splitlines()[2:]
        if "any" not in line
    }
    moves = {(shown(core), shown(after)) for (core, _), after in NEXT.items()}
    named = {(a.value.replace("-", "_"), b.value.replace("-", "_")) for a, b in moves if a is not b}
    assert (
        drawn
        == named
        == {(a.value.replace("-", "_"), b.value.replace("-", "_")) for a, b in arrows()}
    )
