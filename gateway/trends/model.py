"""The model under the humidity response: a smooth curve, a level for each night, and blocks.

log current = curve(humidity, shifted in the later period) + step of the later period + level of the
night + noise of the hour. Nights differ by far more than their humidity says (a factor of e**0.5 is
usual), so the hours of a night are one witness, not ten. The spread of the estimates is taken
between blocks of nights, which also holds when neighbouring nights resemble one another.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from gateway.trends.columns import Floats, Ints
from gateway.trends.curve import Shift, basis, moved, rising
from gateway.trends.memory import USUAL_MEMORY
from gateway.trends.mixed import (
    CLOCK,
    EXTRA,
    Solved,
    Spreads,
    between_blocks,
    influence_of,
    penalty,
    solve,
    whitened,
)

ROUNDS = 6
"""Steps of the shift before it is taken as it is; it stands after three or four, mostly."""
SEARCH_ROUNDS = 3
"""Rounds of reweighting before a shift is judged: with fewer the judgement is rough."""
SETTLED_PCT = 0.02
SHIFT_STEP_MOST_PCT = 5.0
SHIFT_MOST_PCT = 18.0
"""A larger shift would leave too little of the curve in common to tell; it stops here, and a fit
that stops here is not believed."""
TRIED_SHIFTS_PCT = (-12.0, -6.0, 0.0, 6.0, 12.0)
"""Where the search for the shift begins."""
STARTS = 2
"""So many of the best local minima among them are refined before they are compared."""
SEARCH_HOURS = 1_500
"""About so many hours, spread evenly, serve for the search; all of them for what is said."""
LIKELY_SHIFT_PCT, LIKELY_STEP = 8.0, 1.0
"""Spread of shifts [% RH] and steps [ln] that are likely beforehand, when minima are compared."""
HOURS_A_WITNESS = 4.0
"""So many hours count as one independent witness when minima are compared. Design choice."""


class Moved(Enum):
    """What may have moved between the periods."""

    SURFACE = "surface"  # a step and a shift of the film
    DEPOSIT = "deposit"  # a step alone
    READING = "reading"  # a shift of the probe's reading alone


KINDS = {Moved.SURFACE: Shift.FILM, Moved.DEPOSIT: Shift.FILM, Moved.READING: Shift.READING}


@dataclass(frozen=True, slots=True, eq=False)
class Hours:
    """The hours that enter: shape (n,). log_ma: log resistive current [ln mA].
    felt_pct: shape (n, MEMORIES), humidity as films of various lags feel it. lost: share of the
    hydrophobicity that is lost for the time being.

    air_k: warmth of the day against the mean. clock: shape (n, CLOCK), waves of the time of day.
    later: 1.0 in the later period, else 0.0. falling: 1.0 while humidity falls after its maximum.
    night, block: whole numbers from 0, sampling units and groups of them.
    """

    log_ma: Floats
    felt_pct: Floats
    air_k: Floats
    clock: Floats
    falling: Floats
    lost: Floats
    later: Floats
    night: Ints
    block: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """Estimates. step: log ratio later/earlier at equal wetness. shift_pct: how far lower the onset
    is in the later period [% RH]. influence: shape (blocks, 2), what each block adds to the errors
    of (step, shift). freedom: of each. curve: coefficients of the reference curve, rising.
    reading_pct, reading_gain: the shift of the reading that would explain the later period with the
    surface as it was, and how much likelier that is than a surface that moved (log likelihood of
    witnesses); -inf where none could.
    memory, falling_pct: which lag the film has, and how much wetter it is while the humidity falls
    [% RH].
    night_sd, hour_sd: spreads [ln]. levels: of each night against the reference curve [ln].
    """

    step: float
    shift_pct: float
    reading_pct: float
    reading_gain: float
    covariance: Floats
    freedom: tuple[float, float]
    influence: Floats
    curve: Floats
    memory: int
    falling_pct: float
    air_per_k: float
    night_sd: float
    hour_sd: float
    levels: Floats


def fit(hours: Hours, what: Moved = Moved.SURFACE) -> Fit:
    """The model fitted to hours of which those of one night stand together.

    what: a step alone where the response is known not to have shifted.
    """
    few = _thinned(hours)
    start = 0.0 if what is Moved.DEPOSIT else _searched(few, what)
    lags = range(few.felt_pct.shape[1])
    memory = min(lags, key=lambda one: _objective(few, start, one, what)[0])
    reading = (0.0, -np.inf) if what is Moved.DEPOSIT else _reading(few, start, memory)
    residual = _objective(hours, start, memory, what)[1]
    shift, residual = _settled(hours, start, memory, what, residual)
    return _concluded(hours, shift, memory, what, residual, reading)


def _searched(few: Hours, what: Moved) -> float:
    """The likeliest shift, among the refined minima of a coarse search."""
    tried = [_objective(few, shift, USUAL_MEMORY, what) for shift in TRIED_SHIFTS_PCT]
    starts = _minima([badness for badness, _ in tried])
    settled = [
        _settled(few, TRIED_SHIFTS_PCT[one], USUAL_MEMORY, what, tried[one][1])[0] for one in starts
    ]
    believed = [one for one in settled if abs(one) < SHIFT_MOST_PCT] or [0.0]
    return min(believed, key=lambda one: _objective(few, one, USUAL_MEMORY, what)[0])


def _reading(few: Hours, shift: float, memory: int) -> tuple[float, float]:
    """The shift of the reading that would do instead, and by how much it is likelier."""
    badness, residual = _objective(few, shift, memory, Moved.SURFACE)
    there = _settled(few, shift, memory, Moved.READING, residual)[0]
    if abs(there) >= SHIFT_MOST_PCT:
        return there, -np.inf
    return there, badness - _objective(few, there, memory, Moved.READING)[0]


def _thinned(hours: Hours) -> Hours:
    """Every second or third hour and so on, until about SEARCH_HOURS are left."""
    every = max(1, hours.log_ma.shape[0] // SEARCH_HOURS)
    return Hours(*(getattr(hours, name)[::every] for name in Hours.__slots__))


def _minima(badness: list[float]) -> list[int]:
    """Places of the best local minima and of no shift, best first."""
    walled = [np.inf, *badness, np.inf]
    local = [k - 1 for k in range(1, len(walled) - 1) if walled[k] <= min(walled[k - 1 : k + 2])]
    return sorted({*local, len(badness) // 2}, key=lambda one: badness[one])[:STARTS]


def _settled(
    hours: Hours, shift: float, memory: int, what: Moved, residual: Floats
) -> tuple[float, Floats]:
    """Gauss and Newton's steps of the shift until it stands."""
    for _ in range(0 if what is Moved.DEPOSIT else ROUNDS):
        design, slope, k = _design(hours, shift, memory, what, residual)
        found = solve(design, hours.log_ma + slope * shift, hours.night, residual).found
        residual = hours.log_ma + slope * shift - design @ found
        move = float(np.clip(found[k + 1] - shift, -SHIFT_STEP_MOST_PCT, SHIFT_STEP_MOST_PCT))
        shift = float(np.clip(shift + move, -SHIFT_MOST_PCT, SHIFT_MOST_PCT))
        if abs(move) < SETTLED_PCT:
            break
    return shift, residual


def _design(
    hours: Hours, shift: float, memory: int, what: Moved, residual: Floats
) -> tuple[Floats, Floats, int]:
    """Columns: curve, step, slope of the shift, of the falling branch, of the time of day, of what
    is lost for the time being, warmth; the slope of the shift; how many columns the curve has.

    What cannot have moved has a column of zeros.
    """
    there, rate = moved(hours.felt_pct[:, memory], shift * hours.later, KINDS[what])
    splines, gradient = basis(there)
    k = splines.shape[1]
    step = 0.0 * hours.later if what is Moved.READING else hours.later
    nothing = np.zeros((hours.log_ma.shape[0], 3 + CLOCK))
    plain = np.column_stack((splines, step, nothing, hours.air_k))
    curve = solve(plain, hours.log_ma, hours.night, residual).found[:k]
    steep = np.maximum(gradient @ curve, 0.0)
    slope = steep * rate * hours.later
    if what is not Moved.DEPOSIT:
        plain[:, k + 1] = slope
    plain[:, k + 2] = steep * hours.falling
    plain[:, k + 3 : k + 3 + CLOCK] = steep[:, None] * hours.clock
    plain[:, -2] = steep * hours.lost
    return plain, slope, k


def _objective(hours: Hours, shift: float, memory: int, what: Moved) -> tuple[float, Floats]:
    """Badness (minus twice the marginal log likelihood, nearly) and residuals at a held shift.

    A far shift with a far step leaves each period a stretch of the curve of its own and can fit as
    well as the truth: what is likely beforehand decides there, against hours that are counted
    for less than their number, as they are no independent witnesses.
    """
    residual = hours.log_ma - np.mean(hours.log_ma)
    design, _, k = _design(hours, shift, memory, what, residual)
    design[:, k + 1] = 0.0
    for _ in range(SEARCH_ROUNDS):
        solved = solve(design, hours.log_ma, hours.night, residual)
        residual = hours.log_ma - design @ solved.found
    spreads, count = solved.spreads, hours.log_ma.shape[0]
    badness = count * float(np.log(solved.left / count))
    badness += float(np.sum(np.log1p(spreads.sizes * (spreads.night_sd / spreads.hour_sd) ** 2)))
    likely = (shift / LIKELY_SHIFT_PCT) ** 2 + (float(solved.found[k]) / LIKELY_STEP) ** 2
    return (badness + _complexity(solved)) / HOURS_A_WITNESS + likely, residual


def _complexity(solved: Solved) -> float:
    """Occam's term of the marginal likelihood: a shift that lets each period have a stretch of the
    curve to itself fits everything and explains nothing."""
    precision = solved.precision / solved.spreads.hour_sd**2
    whole = precision + penalty(precision.shape[0] - EXTRA)
    return float(np.linalg.slogdet(whole)[1])


def _concluded(
    hours: Hours,
    shift: float,
    memory: int,
    what: Moved,
    residual: Floats,
    reading: tuple[float, float],
) -> Fit:
    """Estimates at the found shift, with what each block of nights adds to their errors."""
    design, slope, k = _design(hours, shift, memory, what, residual)
    target = hours.log_ma + slope * shift
    solved = solve(design, target, hours.night, residual)
    found, spreads = solved.found, solved.spreads
    white = whitened(np.column_stack((design, target)), hours.night, spreads)
    columns, left = white[:, :-1], white[:, -1] - white[:, :-1] @ found
    influence = influence_of(hours.block, columns, left, solved.inverse)[:, k : k + 2]
    covariance, freedom = between_blocks(
        hours.block, columns, solved.inverse[:, k : k + 2], influence
    )
    return Fit(
        step=float(found[k]),
        shift_pct=shift,
        reading_pct=reading[0],
        reading_gain=reading[1],
        covariance=covariance,
        freedom=freedom,
        influence=influence,
        curve=rising(found[:k], np.diag(solved.precision)[:k] + 1e-6),
        memory=memory,
        falling_pct=float(found[k + 2]),
        air_per_k=float(found[-1]),
        night_sd=spreads.night_sd,
        hour_sd=spreads.hour_sd,
        levels=_levels(hours, memory, design, found, spreads),
    )


def _levels(hours: Hours, memory: int, design: Floats, found: Floats, spreads: Spreads) -> Floats:
    """Mean residual of each night, step and shift of the later period left in."""
    without = design.copy()
    splines = design.shape[1] - EXTRA
    without[:, splines : splines + 2] = 0.0
    without[:, :splines] = basis(hours.felt_pct[:, memory])[0]
    residual = (hours.log_ma - without @ found) * spreads.weights
    sums = np.bincount(hours.night, residual)
    return np.asarray(np.where(spreads.sizes > 0, sums / np.maximum(spreads.sizes, 1e-9), np.nan))
