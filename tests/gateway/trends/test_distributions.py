"""The trends' quantiles and tails are those of the statistics library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from gateway.trends.distributions import kolmogorov_tail, t_quantile, t_tail, two_sided_t
from gateway.trends.pollution import deposit_relation


@pytest.mark.parametrize("freedom", [1.0, 2.5, 11.0, 240.0])
def test_students_distribution_is_the_librarys(freedom: float) -> None:
    for share in (0.05, 0.5, 0.9, 0.995):
        assert t_quantile(share, freedom) == pytest.approx(stats.t.ppf(share, freedom), rel=1e-9)
    for size in (0.0, 1.3, 6.0):
        assert t_tail(size, freedom) == pytest.approx(stats.t.sf(size, freedom), rel=1e-9)
    assert two_sided_t(0.9, freedom) == pytest.approx(stats.t.ppf(0.95, freedom), rel=1e-9)


@pytest.mark.parametrize("excursion", [0.3, 1.0, 1.36, 2.2])
def test_kolmogorovs_tail_is_the_librarys(excursion: float) -> None:
    assert kolmogorov_tail(excursion) == pytest.approx(stats.kstwobign.sf(excursion), rel=1e-9)


def test_the_relation_of_deposit_and_index_is_the_librarys_line() -> None:
    draw = np.random.default_rng(4)
    esdd = draw.uniform(0.01, 0.3, 20)
    index = 3.0 * esdd**0.8 * np.exp(draw.normal(0, 0.2, 20))
    found, line = deposit_relation(esdd, index), stats.linregress(np.log(esdd), np.log(index))
    assert found is not None
    assert (found.slope, found.intercept) == pytest.approx((line.slope, line.intercept), rel=1e-9)
    assert found.correlation == pytest.approx(line.rvalue, rel=1e-9)
    wide = stats.t.ppf(0.95, 18) * line.stderr
    assert found.slope_high - found.slope == pytest.approx(wide, rel=1e-9)
