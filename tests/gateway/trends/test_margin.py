"""The margin against the worked example, scipy, and seeded series of known truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from edge.decide.binding import Basis
from gateway.trends import margin
from gateway.trends.columns import IntervalColumns

MAXIMA = np.array([12.0, 18, 9, 25, 31, 16, 22, 14, 40, 19, 27, 20])


def test_gumbel_by_moments_gives_the_worked_example() -> None:
    location, scale = margin.gumbel_moments(MAXIMA)
    assert float(location) == pytest.approx(17.18123, abs=1e-4)
    assert float(scale) == pytest.approx(6.76021, abs=1e-4)
    for months, level in ((12, 33.68775), (120, 49.51742)):
        found = float(margin.gumbel_level(location, scale, months))
        assert found == pytest.approx(level, abs=1e-4)
        theirs = stats.gumbel_r.ppf(1 - 1 / months, float(location), float(scale))
        assert found == pytest.approx(theirs)


def test_pareto_moments_agree_with_scipy_on_a_long_series() -> None:
    drawn = stats.genpareto.rvs(0.15, scale=3.0, size=20_000, random_state=4)
    scale, shape = margin.pareto_moments(drawn)
    theirs = stats.genpareto.fit(drawn, floc=0.0)
    assert float(shape) == pytest.approx(theirs[0], abs=0.03)
    assert float(scale) == pytest.approx(theirs[2], rel=0.03)
    level = float(margin.pareto_level(scale, shape, 50.0))
    assert level == pytest.approx(stats.genpareto.isf(1 / 50, float(shape), scale=float(scale)))


def test_intervals_of_the_return_level_hold_the_truth_as_often_as_they_say() -> None:
    """Nominal 0.90 over 300 series of 12 maxima."""
    draw = np.random.default_rng(8)
    truth = float(margin.gumbel_level(np.array(20.0), np.array(6.0), 12.0))
    held = 0
    for _ in range(300):
        found = margin.gumbel_return(draw.gumbel(20.0, 6.0, 12), 12.0, draw)
        assert found is not None
        held += found.low <= truth <= found.high
    assert 0.85 * 300 <= held <= 0.95 * 300


def test_peaks_over_a_threshold_hold_the_truth_as_often_as_they_say() -> None:
    draw = np.random.default_rng(9)
    truth = 10.0 + 3.0 * np.log(40 / 24 * 12)
    held = 0
    for _ in range(200):
        peaks = 10.0 + draw.exponential(3.0, 40)
        found = margin.peaks_return(peaks, 10.0, 12.0, 24.0, draw)
        assert found is not None
        held += found.low <= truth <= found.high
    assert 0.83 * 200 <= held <= 0.97 * 200


def test_few_months_give_a_wider_interval_and_very_few_none() -> None:
    draw = np.random.default_rng(3)
    few, many = (margin.gumbel_return(np.tile(MAXIMA[:6], n), 12.0, draw) for n in (1, 6))
    assert few is not None and many is not None
    assert few.high - few.low > 1.5 * (many.high - many.low)
    assert margin.gumbel_return(MAXIMA[:3], 12.0, draw) is None
    assert margin.gumbel_return(np.full(12, 5.0), 12.0, draw) is None


def test_flashover_limits_of_four_creepages_and_their_basis() -> None:
    for creepage, ampere in ((16, 1.0907), (20, 1.7043), (25, 2.6629), (31, 4.0945)):
        assert margin.flashover_limit_a(creepage, Basis.PHASE_PHASE) == pytest.approx(
            ampere, abs=1e-4
        )
    once = margin.flashover_limit_a(20.0, Basis.PHASE_PHASE)
    assert margin.flashover_limit_a(20.0 * np.sqrt(3.0), Basis.PHASE_EARTH) == pytest.approx(
        3 * once
    )
    with pytest.raises(AssertionError, match="without its basis"):
        margin.flashover_limit_a(20.0, None)  # type: ignore[arg-type]


def test_monthly_maxima_are_of_calendar_months() -> None:
    start = np.array(["2025-01-31T23:59", "2025-02-01T00:00", "2025-02-28T12:00"], "datetime64[us]")
    rows = IntervalColumns(
        start.astype(np.int64), np.full(3, 60_000_000), peak_ua=np.array([9_000.0, 4_000.0, np.nan])
    )
    maxima, months = margin.monthly_maxima_ma(rows)
    assert maxima.tolist() == [9.0, 4.0]
    assert np.diff(months).tolist() == [1.0]


def test_the_margin_states_its_basis_and_the_share_of_the_limit() -> None:
    found = margin.margin_of(MAXIMA, 16.0, Basis.PHASE_PHASE, np.random.default_rng(1))
    assert found is not None and found.next_year is not None
    assert found.basis == Basis.PHASE_PHASE
    assert found.share_highest == pytest.approx(40.0 / 1090.7, rel=1e-3)
    assert found.next_year.low < found.next_year.level < found.next_year.high
    assert margin.margin_of(np.zeros(0), 16.0, Basis.PHASE_PHASE, np.random.default_rng(1)) is None
