"""The shape of a humidity response: a smooth, rising curve of cubic splines."""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from gateway.trends.columns import Floats

KNOT_PCT = 5.0
KNOTS_LOW_PCT = 35.0
KNOTS_HIGH_PCT = 125.0
"""Range of the curve, wide enough for a probe that reads 25 % too low."""

SHIFT_SPAN_PCT = 16.0
"""Humidity at an activity of 0.8 for each unit of ln(a / (1 - a)): scale of a shift, so that one of
10 % is a fall from 85 to 75 %, the like elsewhere."""
ACTIVITY_RANGE = (0.02, 0.995)
"""Of the water on the surface; beyond it a shift moves nothing further."""


class Shift(StrEnum):
    """What a shift of the response is constant in."""

    FILM = "film"
    READING = "reading"


def moved(rh_pct: Floats, shift_pct: Floats | float, shift: Shift) -> tuple[Floats, Floats]:
    """Humidity at which the reference surface has the film that a shifted one has at `rh_pct`, and
    its growth with the shift.

    A film closes at an amount of water, and salt at activity a holds water as a / (1 - a) (common
    practice: the isotherm of a solution). A surface that needs less water is so by a factor, and
    its shift is one of ln(a / (1 - a)): wide in dry air, none near saturation, where every surface
    is wet and only the deposit tells. What the probe reads wrong is the same at every humidity.
    """
    if shift is Shift.READING:
        return rh_pct + shift_pct, np.ones(rh_pct.shape[0])
    activity = np.clip(rh_pct / 100.0, *ACTIVITY_RANGE)
    further = np.log(activity / (1.0 - activity)) + shift_pct / SHIFT_SPAN_PCT
    there = 1.0 / (1.0 + np.exp(-further))
    return rh_pct + 100.0 * (there - activity), 100.0 * there * (1.0 - there) / SHIFT_SPAN_PCT


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
