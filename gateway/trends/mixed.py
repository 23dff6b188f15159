"""Least squares with a random level a night, and what blocks of nights say of its errors.

Hours are weighted as the model of `gateway.trends.model` demands: a night's hours share its level,
so its mean is partly taken away before least squares (generalised least squares), and odd hours
weigh less (Huber). Standard statistics throughout.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gateway.trends.columns import Floats, Ints

CURVATURE_SD = 1.0
"""Prior spread of the second difference of the curve's coefficients [ln]: weak, holds its ends."""
SHIFT_SD_PCT = 10.0
"""Prior spread of a shift [% RH]: weak; it counts where curve and shift cannot be told apart."""
AIR_PER_K, AIR_PER_K_SD = 0.01, 0.01
"""Growth of the log current with the warmth of the day [1/K], prior mean and spread: a brine
conducts about 2 % a degree better (common practice), but its film is thinner. Learnt from the
nights within this spread: warmth and season go together, and a free slope would take the season
for it."""
CLOCK_SD_PCT = 3.0
"""Prior spread of how much wetter a surface is than the air says, by the time of day [% RH]: the
sun warms it above the air and a clear sky cools it below, about 1 K either way (common practice),
and 1 K is 6 % RH."""
FALLING_SD_PCT = 5.0
"""Prior spread of how much wetter a surface is on the falling branch [% RH]: weak."""
MODEL_SD = (0.02, 0.25)
"""Errors of the model itself that no number of nights averages away: of the step [ln], of the shift
[% RH]. Design choice after trials with other shapes of response and other lags than the model's."""
STEP_SD = 1.0
"""Prior spread of the step [ln]: weak, and a step that is held at 0 needs one."""
LOST_SD_PCT = 5.0
"""Prior spread of how much wetter a surface is that lost its hydrophobicity for the time being, in
either period [% RH]: weak."""
HUBER = 2.0
"""Residuals beyond so many spreads weigh less."""
CLOCK = 4
"""Columns of the time of day: two harmonics."""
EXTRA = 5 + CLOCK
"""Columns after the curve's: step, shift, falling branch, time of day, hydrophobicity
lost, warmth."""


@dataclass(frozen=True, slots=True, eq=False)
class Spreads:
    """Spreads between and within nights [ln]; weight of each hour; by night: how much of the mean
    is taken away, and the sum of weights."""

    night_sd: float
    hour_sd: float
    weights: Floats
    shrink: Floats
    sizes: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Solved:
    """Estimates; their inverse precision, with the prior, and the precision without it, both in
    units of the hour's variance; sum of squares that is left."""

    found: Floats
    inverse: Floats
    precision: Floats
    left: float
    spreads: Spreads


def spreads_of(residual: Floats, night: Ints) -> Spreads:
    """Spreads by moments, and the weights that follow."""
    sizes = np.bincount(night).astype(np.float64)
    mean = np.bincount(night, residual) / np.maximum(sizes, 1.0)
    within = residual - mean[night]
    hour_sd = max(1.4826 * float(np.median(np.abs(within))), 0.6 * float(np.std(within)), 1e-3)
    seen = sizes > 0
    typical = float(np.mean(1.0 / sizes[seen]))
    night_var = max(float(np.var(mean[seen])) - hour_sd**2 * typical, 0.01 * hour_sd**2)
    weights = np.minimum(1.0, HUBER * hour_sd / np.maximum(np.abs(within), 1e-9))
    sums: Floats = np.asarray(np.bincount(night, weights), dtype=np.float64)
    shrink = 1.0 - np.sqrt(hour_sd**2 / (hour_sd**2 + sums * night_var))
    return Spreads(float(np.sqrt(night_var)), hour_sd, weights, shrink, sums)


def penalty(splines: int) -> Floats:
    """Prior precisions of all columns."""
    whole = np.zeros((splines + EXTRA, splines + EXTRA))
    bend = np.diff(np.eye(splines), n=2, axis=0) / CURVATURE_SD
    whole[:splines, :splines] = bend.T @ bend + 1e-6 * np.eye(splines)
    clock = (CLOCK_SD_PCT,) * CLOCK
    spreads = (STEP_SD, SHIFT_SD_PCT, FALLING_SD_PCT, *clock, LOST_SD_PCT, AIR_PER_K_SD)
    for back, sd in enumerate(reversed(spreads), start=1):
        whole[-back, -back] = sd**-2
    return whole


def _night_means(columns: Floats, night: Ints, spreads: Spreads) -> Floats:
    """Weighted mean of each column by night; hours of a night stand together."""
    starts = np.flatnonzero(np.diff(night, prepend=-1))
    sums = np.zeros((spreads.sizes.shape[0], columns.shape[1]))
    sums[night[starts]] = np.add.reduceat(columns * spreads.weights[:, None], starts, axis=0)
    return np.asarray(sums / np.maximum(spreads.sizes, 1e-9)[:, None])


def whitened(columns: Floats, night: Ints, spreads: Spreads) -> Floats:
    """sqrt(weight) times (column less the shrunken weighted mean of its night)."""
    away = (spreads.shrink[:, None] * _night_means(columns, night, spreads))[night]
    return np.asarray(np.sqrt(spreads.weights)[:, None] * (columns - away))


def solve(design: Floats, target: Floats, night: Ints, residual: Floats) -> Solved:
    """Penalised generalised least squares; the spreads come from `residual`.

    The products of the whitened columns are had without whitening them, which is most of the time.
    """
    spreads = spreads_of(residual, night)
    both = np.column_stack((design, target))
    means = _night_means(both, night, spreads)
    taken = (2.0 * spreads.shrink - spreads.shrink**2) * spreads.sizes
    products = both.T @ (both * spreads.weights[:, None]) - means.T @ (means * taken[:, None])
    precision, towards = products[:-1, :-1], products[:-1, -1]
    prior = penalty(design.shape[1] - EXTRA) * spreads.hour_sd**2
    inverse: Floats = np.asarray(np.linalg.inv(precision + prior), dtype=np.float64)
    towards = towards.copy()
    towards[-1] += prior[-1, -1] * AIR_PER_K
    found = np.asarray(inverse @ towards)
    left = float(products[-1, -1] - 2.0 * found @ products[:-1, -1] + found @ precision @ found)
    return Solved(found, inverse, precision, max(left, 1e-12), spreads)


def influence_of(block: Ints, columns: Floats, left: Floats, inverse: Floats) -> Floats:
    """How far each block of nights pulls the estimates: shape (blocks, estimates).

    The pull is that of leaving the block out (the jackknife's), not of its residuals as they are:
    the fit has bent towards them already (cluster-robust variance CR3).
    """
    blocks, size = int(block.max()) + 1, columns.shape[1]
    order = np.argsort(block, kind="stable")
    ends = np.searchsorted(block[order], np.arange(blocks + 1))
    pulls = np.zeros((blocks, size))
    for b in range(blocks):
        rows = order[ends[b] : ends[b + 1]]
        own = columns[rows]
        kept = np.eye(size) - (own.T @ own) @ inverse
        pulls[b] = np.linalg.solve(kept, own.T @ left[rows])
    return np.asarray(pulls @ inverse)


def between_blocks(
    block: Ints, columns: Floats, inverse: Floats, influence: Floats
) -> tuple[Floats, tuple[float, float]]:
    """Covariance of (step, shift) from the scatter between blocks, and its freedom.

    Freedom after Satterthwaite under the working model, less the two levels that were fitted.
    """
    share = np.square(columns @ inverse)
    blocks = influence.shape[0]
    expected = np.column_stack([np.bincount(block, share[:, i], blocks) for i in range(2)])
    squares = np.maximum(np.square(expected).sum(axis=0), 1e-300)
    freedom = np.maximum(np.square(expected.sum(axis=0)) / squares - 2.0, 1.0)
    covariance = influence.T @ influence * (blocks - 1.0) / blocks
    covariance = covariance + np.diag(np.square(MODEL_SD))
    return covariance, (float(freedom[0]), float(freedom[1]))
