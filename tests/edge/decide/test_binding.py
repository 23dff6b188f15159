"""The limit near flashover is an insulator's own; one that its sensor cannot show is refused."""

from __future__ import annotations

import pytest

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import (
    Basis,
    SpecificCreepage,
    WatchedInsulator,
    bind,
    highest_current_ua,
)
from edge.decide.definitions import Alarm, DefinitionFault
from edge.decide.setpoints import Limit


def margin_limit(insulator: WatchedInsulator) -> Limit:
    """The limit that near-margin compares with on one insulator."""
    bounds = bind(DEFAULT_ALARMS, [insulator]).insulators[insulator.id]
    return next(
        bound.limits["arcing_peak_ua"]
        for bound in bounds
        if bound.definition.id is Alarm.NEAR_MARGIN
    )


@pytest.mark.parametrize(
    ("mm_per_kv", "amperes"),
    # (SCD / 15.32)^2, computed apart from this code and rounded to four places
    [(16, 1.0907), (20, 1.7043), (25, 2.6629), (31, 4.0945), (53.7, 12.2866)],
)
def test_highest_current_is_the_square_of_the_specific_creepage(
    mm_per_kv: float, amperes: float
) -> None:
    creepage = SpecificCreepage(round(mm_per_kv * 1000), Basis.PHASE_PHASE)
    assert highest_current_ua(creepage) == pytest.approx(amperes * 1e6, abs=60)


def test_creepage_to_earth_is_brought_to_phase_to_phase_and_gives_a_third() -> None:
    to_earth = highest_current_ua(SpecificCreepage(34_641, Basis.PHASE_EARTH))
    between = highest_current_ua(SpecificCreepage(20_000, Basis.PHASE_PHASE))
    assert to_earth == pytest.approx(between, rel=1e-4)


def test_limit_is_the_lower_of_100_milliamperes_and_a_tenth_of_the_highest_current() -> None:
    long = WatchedInsulator("a", SpecificCreepage(20_000, Basis.PHASE_PHASE))
    short = WatchedInsulator("a", SpecificCreepage(15_000, Basis.PHASE_PHASE))
    assert margin_limit(long).at == margin_limit(WatchedInsulator("a")).at == 100_000
    assert margin_limit(short) == Limit("arcing_peak_ua", "uA", 95_866, 19_173)


def test_limit_above_80_percent_of_full_scale_is_refused_with_what_to_do() -> None:
    assert margin_limit(WatchedInsulator("a", full_scale_ua=125_000)).at == 100_000
    with pytest.raises(
        DefinitionFault, match=r"insulator a, alarm near-margin.*99999 uA is allowed"
    ):
        margin_limit(WatchedInsulator("a", full_scale_ua=124_999))


@pytest.mark.parametrize("um_per_kv", [20, 4_999, 200_001])
def test_creepage_in_a_wrong_unit_is_refused(um_per_kv: int) -> None:
    insulator = WatchedInsulator("a", SpecificCreepage(um_per_kv, Basis.PHASE_PHASE))
    with pytest.raises(DefinitionFault, match="Check the unit"):
        margin_limit(insulator)


def test_insulator_named_twice_is_refused() -> None:
    with pytest.raises(DefinitionFault, match="named twice"):
        bind(DEFAULT_ALARMS, [WatchedInsulator("a"), WatchedInsulator("a")])


def test_counter_at_the_end_of_a_row_is_exact_for_the_rates_allowed() -> None:
    for rate_hz in (4800, 9999.999, 10_000, 25_600):
        plan = bind(DEFAULT_ALARMS, [], rate_hz=rate_hz)
        for samples in (1, 960, 599_999, 1_536_000):
            duration_us = round(samples / rate_hz * 1e6)
            assert plan.counter_at(7, duration_us) == 7 + samples
