"""The shape of a humidity response: a smooth, rising curve of cubic splines."""

from __future__ import annotations

import numpy as np

from gateway.trends.columns import Floats

KNOT_PCT = 5.0
KNOTS_LOW_PCT = 35.0
KNOTS_HIGH_PCT = 125.0
"""Range of the curve, wide enough for a shift of 25 % humidity."""


def basis(rh_pct: Floats) -> tuple[Floats, Floats]:
    """Uniform cubic B-splines on knots every 5 %, and their slope [1/%]; shape (n, k) each."""
    count = round((KNOTS_HIGH_PCT - KNOTS_LOW_PCT) / KNOT_PCT)
    along = np.clip((rh_pct - KNOTS_LOW_PCT) / KNOT_PCT, 0.0, count - 1e-9)
    cell = along.astype(np.int64)
    t = along - cell
    parts = ((1 - t) ** 3, 3 * t**3 - 6 * t**2 + 4, -3 * t**3 + 3 * t**2 + 3 * t + 1, t**3)
    slopes = (-((1 - t) ** 2), 3 * t**2 - 4 * t, -3 * t**2 + 2 * t + 1, t**2)
    rows = np.arange(rh_pct.shape[0])
    splines, gradient = (np.zeros((rh_pct.shape[0], count + 3)) for _ in range(2))
    for k in range(4):
        splines[rows, cell + k] = parts[k] / 6.0
        gradient[rows, cell + k] = slopes[k] / (2.0 * KNOT_PCT)
    return splines, gradient


def curve_at(curve: Floats, rh_pct: Floats) -> Floats:
    """Log current of the curve at a humidity [ln mA]."""
    return np.asarray(basis(np.asarray(rh_pct, dtype=np.float64))[0] @ curve)


def rising(coefficients: Floats, weights: Floats | None = None) -> Floats:
    """The nearest non-falling sequence (pool adjacent violators); a rising B-spline has those.

    weights: how well each is known; one that no hour has seen must not bend its neighbours.
    """
    heavy = np.ones(coefficients.shape[0]) if weights is None else weights
    pools: list[tuple[float, float, int]] = []
    for one, weight in zip(coefficients.tolist(), heavy.tolist(), strict=True):
        mean, total, count = one, weight, 1
        while pools and pools[-1][0] > mean:
            before, before_total, before_count = pools.pop()
            mean = (before * before_total + mean * total) / (before_total + total)
            total, count = total + before_total, count + before_count
        pools.append((mean, total, count))
    return np.concatenate([np.full(count, mean) for mean, _, count in pools])
