"""The statistics under the humidity response: a smooth curve, a level for each night, and blocks.

log current = curve(humidity + shift in the later period) + step of the later period + level of the
night + noise of the hour. Nights differ by far more than their humidity says (a factor of e**0.5 is
usual), so the hours of a night are one witness, not ten. Hours are weighted as that model demands
(generalised least squares with a random level a night, Huber's weights against odd hours), and the
spread of the estimates is taken between blocks of nights, which also holds when neighbouring nights
resemble one another. Sandwich variance and its Satterthwaite freedom: standard statistics.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gateway.trends.columns import Floats, Ints

KNOT_PCT = 5.0
KNOTS_LOW_PCT = 35.0
KNOTS_HIGH_PCT = 125.0
"""Range of the curve, wide enough for a shift of 25 % humidity."""
CURVATURE_SD = 1.0
"""Prior spread of the second difference of the curve's coefficients [ln]: weak, holds the ends."""
SHIFT_SD_PCT = 10.0
"""Prior spread of a shift [% RH]: weak; it counts where curve and shift cannot be told apart."""
AIR_PER_K, AIR_PER_K_SD = 0.01, 0.01
"""Growth of the log current with warmth [1/K], prior mean and spread: a brine conducts about 2 % a
degree better (common practice); the film's water works against it. Learnt from the hours."""
FALLING_SD_PCT = 5.0
"""Prior spread of how much wetter a surface is on the falling branch [% RH]: weak."""
MODEL_SD = (0.02, 0.25)
"""Errors of the model itself that no number of nights averages away: of the step [ln], of the shift
[% RH]. Design choice after trials with other shapes of response and other lags than the model's."""
HUBER = 2.0
"""Residuals beyond so many spreads weigh less."""
ROUNDS = 6
SEARCH_ROUNDS = 3
"""Rounds of reweighting before a shift is judged: with fewer the judgement is rough."""
SHIFT_STEP_MOST_PCT = 5.0
SHIFT_MOST_PCT = 18.0
MEMORIES_PCT = (0.0, 3.0, 6.0)
"""Widths of the film's lag behind the humidity that are tried; the best describes the site."""
TRIED_SHIFTS_PCT = (-11.0, 0.0, 11.0)
"""Where the search for the shift begins; the best of them is refined."""


@dataclass(frozen=True, slots=True, eq=False)
class Hours:
    """The hours that enter: shape (n,). log_ma: log resistive current [ln mA].
    felt_pct: shape (n, memories), humidity as a film feels it that lags by each of MEMORIES_PCT.

    later: 1.0 in the later period, else 0.0. falling: 1.0 while humidity falls after its maximum.
    night, block: whole numbers from 0, sampling units and groups of them.
    """

    log_ma: Floats
    felt_pct: Floats
    air_k: Floats
    falling: Floats
    later: Floats
    night: Ints
    block: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """Estimates. step: log ratio later/earlier at equal wetness. shift_pct: how far lower the onset
    is in the later period [% RH]. influence: shape (blocks, 2), what each block adds to the errors
    of (step, shift). freedom: of each. curve: coefficients of the reference curve, rising.
    memory_pct, falling_pct: lag of the film, and how much wetter it is while the humidity falls
    [% RH].
    night_sd, hour_sd: spreads [ln]. levels: of each night against the reference curve [ln].
    """

    step: float
    shift_pct: float
    covariance: Floats
    freedom: tuple[float, float]
    influence: Floats
    curve: Floats
    memory_pct: float
    falling_pct: float
    air_per_k: float
    night_sd: float
    hour_sd: float
    levels: Floats


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


def _penalty(splines: int, extra: int, hour_sd: float) -> Floats:
    """Prior precisions in units of the hours' variance."""
    bend = np.diff(np.eye(splines), n=2, axis=0) / CURVATURE_SD
    whole = np.zeros((splines + extra, splines + extra))
    whole[:splines, :splines] = bend.T @ bend + 1e-6 * np.eye(splines)
    if extra == 4:
        whole[splines + 1, splines + 1] = SHIFT_SD_PCT**-2
    whole[-1, -1] = AIR_PER_K_SD**-2
    whole[-2, -2] = FALLING_SD_PCT**-2
    return np.asarray(whole * hour_sd**2)


@dataclass(frozen=True, slots=True, eq=False)
class _Spreads:
    night_sd: float
    hour_sd: float
    weights: Floats
    shrink: Floats
    sizes: Floats


def _spreads(residual: Floats, night: Ints) -> _Spreads:
    """Between-night and within-night spread by moments, Huber's weights, and how much of a night's
    mean is taken away before least squares."""
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
    return _Spreads(float(np.sqrt(night_var)), hour_sd, weights, shrink, sums)


def _whitened(columns: Floats, night: Ints, spreads: _Spreads) -> Floats:
    """sqrt(weight) times (column less the shrunken weighted mean of its night)."""
    weighted = columns * spreads.weights[:, None]
    order_sums = np.zeros((spreads.sizes.shape[0], columns.shape[1]))
    starts = np.flatnonzero(np.diff(night, prepend=-1))
    order_sums[night[starts]] = np.add.reduceat(weighted, starts, axis=0)
    mean = order_sums / np.maximum(spreads.sizes, 1e-9)[:, None]
    away = (spreads.shrink[:, None] * mean)[night]
    return np.asarray(np.sqrt(spreads.weights)[:, None] * (columns - away))


def _solve(
    design: Floats, target: Floats, hours: Hours, residual: Floats, extra: int
) -> tuple[Floats, Floats, Floats, Floats, _Spreads]:
    """Penalised generalised least squares once; the spreads come from `residual`."""
    spreads = _spreads(residual, hours.night)
    white = _whitened(np.column_stack((design, target)), hours.night, spreads)
    columns, response = white[:, :-1], white[:, -1]
    penalty = _penalty(design.shape[1] - extra, extra, spreads.hour_sd)
    inverse: Floats = np.asarray(np.linalg.inv(columns.T @ columns + penalty), dtype=np.float64)
    prior = np.zeros(design.shape[1])
    prior[-1] = penalty[-1, -1] * AIR_PER_K
    found = inverse @ (columns.T @ response + prior)
    return found, columns, response, inverse, spreads


def fit(hours: Hours, shifting: bool = True) -> Fit:
    """The model fitted to hours in order of their night. With shifting=False the shift stays 0."""
    begins = TRIED_SHIFTS_PCT if shifting else (0.0,)
    shift, residual = _best(hours, [(one, 0) for one in begins])[::2]
    settled = [_settled(hours, shift, 0, residual, shifting)[0]]
    if shift != 0.0:
        settled.append(_settled(hours, 0.0, 0, residual, shifting)[0])
    memories = range(hours.felt_pct.shape[1])
    shift, memory, residual = _best(hours, [(one, k) for one in settled for k in memories])
    shift, residual = _settled(hours, shift, memory, residual, shifting)
    return _concluded(hours, shift, memory, residual, shifting)


def _best(hours: Hours, tried: list[tuple[float, int]]) -> tuple[float, int, Floats]:
    """The best of these pairs of shift and memory, and its residuals."""
    outcomes = [_objective(hours, shift, memory) for shift, memory in tried]
    best = int(np.argmin([badness for badness, _ in outcomes]))
    return (*tried[best], outcomes[best][1])


def _settled(
    hours: Hours, shift: float, memory: int, residual: Floats, shifting: bool
) -> tuple[float, Floats]:
    """Gauss and Newton's steps of the shift until it stands."""
    for _ in range(ROUNDS if shifting else 0):
        design, slope, k = _design(hours, shift, memory, residual, shifting)
        found, *_ = _solve(design, hours.log_ma + slope * shift, hours, residual, 4)
        move = float(np.clip(found[k + 1] - shift, -SHIFT_STEP_MOST_PCT, SHIFT_STEP_MOST_PCT))
        shift = float(np.clip(shift + move, -SHIFT_MOST_PCT, SHIFT_MOST_PCT))
        residual = hours.log_ma + slope * (shift - move) - design @ found
        if abs(move) < 0.02:
            break
    return shift, residual


def _design(
    hours: Hours, shift: float, memory: int, residual: Floats, shifting: bool
) -> tuple[Floats, Floats, int]:
    """Columns: curve, step, slope of the shift, slope of the falling branch, warmth."""
    splines, gradient = basis(hours.felt_pct[:, memory] + shift * hours.later)
    plain = np.column_stack((splines, hours.later, gradient.sum(axis=1), hours.air_k))
    found, *_ = _solve(plain, hours.log_ma, hours, residual, 3)
    k = splines.shape[1]
    steep = np.maximum(gradient @ rising(found[:k]), 0.0)
    slope = steep * hours.later * float(shifting)
    return (
        np.column_stack((splines, hours.later, slope, steep * hours.falling, hours.air_k)),
        slope,
        k,
    )


def _objective(hours: Hours, shift: float, memory: int) -> tuple[float, Floats]:
    """Badness (minus twice the marginal log likelihood, nearly) and residuals at a held shift."""
    residual = hours.log_ma - np.mean(hours.log_ma)
    for _ in range(SEARCH_ROUNDS):
        design = _design(hours, shift, memory, residual, False)[0]
        found, columns, response, _, spreads = _solve(design, hours.log_ma, hours, residual, 4)
        residual = hours.log_ma - design @ found
    left = response - columns @ found
    badness = left.size * float(np.log(np.mean(np.square(left))))
    badness += float(np.sum(np.log1p(spreads.sizes * (spreads.night_sd / spreads.hour_sd) ** 2)))
    return badness + _complexity(columns, spreads) + (shift / SHIFT_SD_PCT) ** 2, residual


def _complexity(columns: Floats, spreads: _Spreads) -> float:
    """Occam's term of the marginal likelihood: a shift that lets each period have a stretch of the
    curve to itself fits everything and explains nothing."""
    penalty = _penalty(columns.shape[1] - 4, 4, 1.0)
    used = np.ones(columns.shape[1], dtype=np.bool_)
    used[-3] = False
    precision = columns.T @ columns / spreads.hour_sd**2 + penalty
    return float(np.linalg.slogdet(precision[np.ix_(used, used)])[1])


def rising(coefficients: Floats) -> Floats:
    """The nearest non-falling sequence (pool adjacent violators); a rising B-spline has those."""
    blocks: list[list[float]] = []
    for one in coefficients:
        blocks.append([float(one), 1.0])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            mean, weight = blocks.pop()
            total = blocks[-1][1] + weight
            blocks[-1] = [(blocks[-1][0] * blocks[-1][1] + mean * weight) / total, total]
    return np.concatenate([np.full(int(weight), mean) for mean, weight in blocks])


def _concluded(hours: Hours, shift: float, memory: int, residual: Floats, shifting: bool) -> Fit:
    """Estimates at the found shift, with what each block of nights adds to their errors."""
    design, slope, k = _design(hours, shift, memory, residual, shifting)
    found, columns, response, inverse, spreads = _solve(
        design, hours.log_ma + slope * shift, hours, residual, 4
    )
    left = response - columns @ found
    influence = _influence(hours, columns, left, inverse)[:, k : k + 2]
    covariance, freedom = _between_blocks(hours, columns, inverse[:, k : k + 2], influence)
    levels = _levels(hours, memory, design, found, spreads)
    return Fit(
        step=float(found[k]),
        shift_pct=shift,
        covariance=covariance,
        freedom=freedom,
        influence=influence,
        curve=rising(found[:k]),
        memory_pct=MEMORIES_PCT[memory],
        falling_pct=float(found[-2]),
        air_per_k=float(found[-1]),
        night_sd=spreads.night_sd,
        hour_sd=spreads.hour_sd,
        levels=levels,
    )


def _influence(hours: Hours, columns: Floats, left: Floats, inverse: Floats) -> Floats:
    """How far each block of nights pulls the estimates: shape (blocks, estimates).

    The pull is that of leaving the block out (the jackknife's), not of its residuals as they are:
    the fit has bent towards them already. Standard statistics (cluster-robust CR3).
    """
    blocks, size = int(hours.block.max()) + 1, columns.shape[1]
    order = np.argsort(hours.block, kind="stable")
    ends = np.searchsorted(hours.block[order], np.arange(blocks + 1))
    pulls = np.zeros((blocks, size))
    for b in range(blocks):
        rows = order[ends[b] : ends[b + 1]]
        own = columns[rows]
        kept = np.eye(size) - (own.T @ own) @ inverse
        pulls[b] = np.linalg.solve(kept, own.T @ left[rows])
    return np.asarray(pulls @ inverse)


def _between_blocks(
    hours: Hours, columns: Floats, inverse: Floats, influence: Floats
) -> tuple[Floats, tuple[float, float]]:
    """Covariance of (step, shift) from the scatter between blocks, and its freedom.

    Freedom after Satterthwaite under the working model, less the two levels that were fitted.
    """
    share = np.square(columns @ inverse)
    blocks = influence.shape[0]
    expected = np.column_stack([np.bincount(hours.block, share[:, i], blocks) for i in range(2)])
    witnesses = np.square(expected.sum(axis=0)) / np.maximum(
        np.square(expected).sum(axis=0), 1e-300
    )
    freedom = np.maximum(witnesses - 2.0, 1.0)
    covariance = influence.T @ influence * (blocks - 1.0) / blocks
    covariance = covariance + np.diag(np.square(MODEL_SD))
    return covariance, (float(freedom[0]), float(freedom[1]))


def _levels(hours: Hours, memory: int, design: Floats, found: Floats, spreads: _Spreads) -> Floats:
    """Mean residual of each night, step and shift of the later period left in."""
    without = design.copy()
    without[:, -4:-2] = 0.0
    without[:, : design.shape[1] - 4] = basis(hours.felt_pct[:, memory])[0]
    residual = (hours.log_ma - without @ found) * spreads.weights
    sums = np.bincount(hours.night, residual)
    return np.asarray(np.where(spreads.sizes > 0, sums / np.maximum(spreads.sizes, 1e-9), np.nan))
