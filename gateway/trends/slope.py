"""A straight trend that odd points cannot bend, and a rank test that knows of autocorrelation.

Theil and Sen's slope, Mann and Kendall's test with the variance correction of Hamed and Rao (1998,
as recalled; checked against an independent library in the tests). Only for series of equal spacing.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from gateway.trends.columns import Floats

POINTS_MIN = 8
"""With fewer points nothing is said of a trend."""
LAG_LEVEL = 0.05
"""Only rank correlations that differ from 0 at this level enter the correction (Hamed and Rao)."""


@dataclass(frozen=True, slots=True)
class Trend:
    """slope in units of the series a step, with its interval; p two-sided, autocorrelation allowed
    for; z: standard score. correction: factor on the variance."""

    slope: float
    low: float
    high: float
    z: float
    p: float
    correction: float
    points: int


def trend_of(series: Floats, level: float = 0.90) -> Trend | None:
    """Slope and test of an evenly spaced series without gaps; None where it is too short."""
    count = series.shape[0]
    if count < POINTS_MIN:
        return None
    from scipy import stats  # takes a second and 50 MB: only where it is asked for

    slope, _, low, high = stats.theilslopes(series, np.arange(count), alpha=level)
    score = kendall_score(series)
    factor = hamed_rao_factor(series, float(slope))
    variance = kendall_variance(series) * factor
    z = float((score - np.sign(score)) / np.sqrt(variance)) if variance > 0 else 0.0
    p = 2.0 * NormalDist().cdf(-abs(z))
    return Trend(float(slope), float(low), float(high), z, p, factor, count)


def kendall_score(series: Floats) -> float:
    """Rising pairs less falling pairs."""
    return float(
        np.sum(np.sign(series[None, :] - series[:, None])[np.triu_indices(len(series), 1)])
    )


def kendall_variance(series: Floats) -> float:
    """Variance of the score of independent points, ties allowed for."""
    n = series.shape[0]
    ties = np.unique(series, return_counts=True)[1].astype(np.float64)
    return float((n * (n - 1) * (2 * n + 5) - np.sum(ties * (ties - 1) * (2 * ties + 5))) / 18.0)


def hamed_rao_factor(series: Floats, slope: float) -> float:
    """By how much autocorrelated ranks inflate the variance; at least a little above 0."""
    from scipy import stats

    n = series.shape[0]
    ranks = stats.rankdata(series - slope * np.arange(1, n + 1))
    away = ranks - np.mean(ranks)
    lags = np.arange(1, n)
    correlation = np.array([away[lag:] @ away[:-lag] for lag in lags]) / float(away @ away)
    limit = NormalDist().inv_cdf(1 - LAG_LEVEL / 2) / np.sqrt(n)
    kept = np.where(np.abs(correlation) > limit, correlation, 0.0)
    terms = (n - lags) * (n - lags - 1.0) * (n - lags - 2.0) * kept
    return float(max(1.0 + 2.0 / (n * (n - 1.0) * (n - 2.0)) * np.sum(terms), 1e-3))
