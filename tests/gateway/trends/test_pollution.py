"""Deposit, creepage and the relation of deposit to index."""

from __future__ import annotations

import numpy as np
import pytest

from gateway.trends import pollution


@pytest.mark.parametrize(
    ("sample", "at_20", "salinity", "deposit"),
    [
        ((0.10, 20.0, 300.0, 1400.0), 0.100000, 0.560468, 0.120100),
        ((0.03, 25.0, 300.0, 1500.0), 0.026893, 0.144906, 0.028981),
        ((0.10, 15.0, 500.0, 1485.0), 0.112623, 0.633471, 0.213290),
        ((0.05, 30.0, 1000.0, 2000.0), 0.040476, 0.220782, 0.110391),
    ],
)
def test_deposits_of_worked_samples_are_met(
    sample: tuple[float, float, float, float], at_20: float, salinity: float, deposit: float
) -> None:
    found = pollution.esdd(*sample)
    assert found.conductivity_20_s_m == pytest.approx(at_20, abs=1.5e-5)
    assert found.salinity_kg_m3 == pytest.approx(salinity, abs=1e-4)
    assert found.esdd_mg_cm2 == pytest.approx(deposit, abs=1e-4)
    assert found.flags == ()


def test_temperature_factors_agree_with_the_recalled_table() -> None:
    for sample_c, factor in ((5, 0.031558), (10, 0.028168), (20, 0.022768), (30, 0.019048)):
        assert pollution.temperature_factor(sample_c) == pytest.approx(factor, abs=1e-6)


def test_strong_brine_and_hot_samples_are_flagged() -> None:
    strong = pollution.esdd(1.6, 20.0, 300.0, 1400.0)
    assert strong.salinity_kg_m3 == pytest.approx(9.745, abs=1e-3)
    assert strong.flags == ("conductivity-out-of-range",)
    assert pollution.esdd(0.1, 40.0, 300.0, 1400.0).flags == ("temperature-out-of-range",)


def test_a_sample_without_volume_is_refused_with_what_was_found() -> None:
    with pytest.raises(ValueError, match=r"volume 0\.0 cm3"):
        pollution.esdd(0.1, 20.0, 0.0, 1400.0)


def test_unified_creepage_is_root_three_times_the_phase_to_phase_one() -> None:
    for phase_phase, name in ((16, "b"), (20, "c"), (25, "d"), (31, "e")):
        unified = pollution.phase_earth_creepage(24.0 * phase_phase, 24.0)
        assert unified == pytest.approx(pollution.RUSCD_MM_KV[name], abs=0.1)
        assert pollution.severity_covered(unified) == name
    assert pollution.severity_covered(20.0) is None


def test_the_relation_of_deposit_to_index_shows_its_scatter() -> None:
    draw = np.random.default_rng(2)
    deposit = draw.uniform(0.02, 0.3, 40)
    index = 5.0 * deposit**0.8 * np.exp(draw.normal(0, 0.3, 40))
    found = pollution.deposit_relation(deposit, index)
    assert found is not None
    assert found.slope_low < 0.8 < found.slope_high
    assert found.scatter == pytest.approx(0.3, abs=0.08)
    assert pollution.deposit_relation(deposit[:3], index[:3]) is None
    assert pollution.deposit_relation(np.full(9, 0.1), index[:9]) is None
