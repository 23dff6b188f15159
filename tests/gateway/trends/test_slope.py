"""Slope and rank test against an independent library."""

from __future__ import annotations

import numpy as np
import pymannkendall
import pytest

from gateway.trends.columns import Floats
from gateway.trends.slope import kendall_score, kendall_variance, trend_of


def series(seed: int, count: int, slope: float, carry: float, ties: bool) -> Floats:
    draw = np.random.default_rng(seed)
    noise = draw.normal(0, 1, count)
    for k in range(1, count):
        noise[k] += carry * noise[k - 1]
    found = noise + slope * np.arange(count)
    return np.round(found) if ties else found


@pytest.mark.parametrize("seed", range(12))
def test_slope_score_and_corrected_chance_agree_with_the_library(seed: int) -> None:
    one = series(seed, 20 + 5 * seed, 0.02 * (seed % 3), 0.7 * (seed % 2), seed % 4 == 0)
    theirs = pymannkendall.hamed_rao_modification_test(one)
    ours = trend_of(one)
    assert ours is not None
    assert ours.slope == pytest.approx(theirs.slope, abs=1e-12)
    assert kendall_score(one) == theirs.s
    assert kendall_variance(one) * ours.correction == pytest.approx(theirs.var_s, rel=1e-9)
    assert ours.p == pytest.approx(theirs.p, abs=1e-9)


def test_autocorrelation_widens_the_test_against_the_plain_one() -> None:
    rejected = {"plain": 0, "corrected": 0}
    for seed in range(120):
        one = series(seed + 100, 60, 0.0, 0.7, False)
        rejected["plain"] += pymannkendall.original_test(one).p < 0.05
        found = trend_of(one)
        rejected["corrected"] += found is not None and found.p < 0.05
    assert rejected["plain"] > 20
    assert rejected["corrected"] < rejected["plain"] / 1.5


def test_a_short_series_has_no_trend() -> None:
    assert trend_of(np.arange(7.0)) is None


def test_one_wild_point_does_not_bend_the_slope() -> None:
    one = 0.5 * np.arange(30.0)
    one[10] = 1_000.0
    found = trend_of(one)
    assert found is not None
    assert found.slope == pytest.approx(0.5)
