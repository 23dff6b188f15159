"""What a surface remembers of the hours before: its film lags behind the air, it stays wetter while
the air dries, and it loses its hydrophobicity in long wetting. From the humidity alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from gateway.trends.columns import Floats
from gateway.trends.hours import SiteHours

LAGS_H = (0.0, 1.0, 2.0, 4.0)
"""Time constants that are tried for a film that takes water up and gives it off (its thickness and
the wind decide; an hour or so, common practice)."""
PLAYS_PCT = (3.0, 6.0, 9.0, 12.0)
"""Widths that are tried for a film that does not follow until the air has moved so far (salt that
dissolves wetter than it dries)."""
MEMORIES = len(LAGS_H) + len(PLAYS_PCT)
USUAL_MEMORY = LAGS_H.index(1.0)
"""Serves where which of them describes the surface is not known yet."""
ACTIVITY_RANGE = (0.02, 0.995)

MEMORY_HOURS = 12
FALLING_BY_PCT = 2.0
"""Humidity counts as falling when it is so far below its maximum of the hours before."""

FILM_RH_PCT, DRY_RH_PCT = 78.0, 71.0
"""Above the first there is a film, below the second there is none (salt wets near 75 %); between
them nothing is lost or taken back."""
LOSES_H, REGAINS_H = 24.0, 30.0
"""Time constants of losing hydrophobicity under a film and of taking it back in dry air: several
hours to a few days (read, a weak source); a surface's own are not known."""


@dataclass(frozen=True, slots=True, eq=False)
class Remembered:
    """On the grid. felt_pct: shape (hours, MEMORIES), humidity as a film feels it that lags by each
    of LAGS_H, then of PLAYS_PCT. falling: 1.0 while the air is clearly drier than it was. lost:
    share of the hydrophobicity that an ordinary surface would have lost, 0 to 1."""

    felt_pct: Floats
    falling: Floats
    lost: Floats


@lru_cache(maxsize=4)
def remembered(grid: SiteHours) -> Remembered:
    """Of a grid; all its insulators ask for the same."""
    rh = grid.rh_pct
    lags = [lagged(rh, one) for one in LAGS_H]
    plays = [felt(rh, one) for one in PLAYS_PCT]
    return Remembered(np.column_stack(lags + plays), falling(rh), lost(rh))


def falling(rh_pct: Floats) -> Floats:
    """1.0 where humidity is clearly below its maximum of the last half day, else 0.0."""
    filled = np.nan_to_num(rh_pct, nan=0.0)
    highest = filled.copy()
    for back in range(1, MEMORY_HOURS + 1):
        highest[back:] = np.maximum(highest[back:], filled[:-back])
    return (filled < highest - FALLING_BY_PCT).astype(np.float64)


def felt(rh_pct: Floats, width_pct: float) -> Floats:
    """Humidity as a film feels it that lags by `width_pct`: a play operator, half to each side."""
    if width_pct == 0.0:
        return rh_pct
    half = width_pct / 2.0
    state = float(rh_pct[np.isfinite(rh_pct)][0])
    out = []
    for one in rh_pct.tolist():
        if one - half > state:
            state = one - half
        elif one + half < state:
            state = one + half
        out.append(state)
    return np.asarray(out)


def lagged(rh_pct: Floats, lag_h: float) -> Floats:
    """Humidity as a film feels it whose water follows with a time constant: of ln(a / (1 - a)), the
    log of the water that salt holds. An hour without humidity changes nothing."""
    if lag_h == 0.0:
        return rh_pct
    activity = np.clip(rh_pct / 100.0, *ACTIVITY_RANGE)
    aims = np.log(activity / (1.0 - activity))
    state, keeps = float(aims[np.isfinite(aims)][0]), float(np.exp(-1.0 / lag_h))
    out = []
    for one in aims.tolist():
        if one == one:
            state = one + keeps * (state - one)
        out.append(state)
    return np.asarray(100.0 / (1.0 + np.exp(-np.asarray(out))))


def lost(rh_pct: Floats, loses_h: float = LOSES_H, regains_h: float = REGAINS_H) -> Floats:
    """Share of the hydrophobicity lost by each hour, 0 to 1: towards 1 in hours with a film, back
    towards 0 in dry ones. An hour without humidity changes nothing."""
    wetting, drying = float(np.exp(-1.0 / loses_h)), float(np.exp(-1.0 / regains_h))
    gone, out = 0.5, []
    for one in rh_pct.tolist():
        if one >= FILM_RH_PCT:
            gone = 1.0 - (1.0 - gone) * wetting
        elif one < DRY_RH_PCT:
            gone *= drying
        out.append(gone)
    return np.asarray(out)
