"""Nights as witnesses: how wet each was, what its highest current was, how far it was missed.

For every past night the current is said from the nights before it alone, as it would have been that
evening; the misses of nights about as wet, the recent ones counting for more, are the interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gateway.trends.columns import Floats, Ints
from gateway.trends.hours import SiteHours
from gateway.trends.memory import felt

MEMORY_PCT = 4.0
"""Lag of the film behind the humidity. Design choice: a usual one; the misses pay for the rest."""
NIGHTS_MIN = 30
"""With fewer past nights nothing is said: a twentieth of fewer is not a night."""
HOURS_SHARE = 0.75
"""A night counts when so many of its hours have both a humidity and a current."""
SCORE_LOW_PCT = 40.0
"""Below it all nights are alike: dry."""
SCORE_STEP_PCT = 1.0
"""Nights closer than this in wetness are alike."""
NEIGHBOURS = 30.0
"""About so many nights, by weight, speak for one wetness."""
WIDEST_PCT = 8.0
"""Nights that differ by more in wetness are never alike."""
LEVEL_DAYS = 15.0
"""Half-life of what the last nights say of the surface's level. Design choice after trials."""
LEVEL_PCT = 5.0
"""Reach in wetness of that. A dry night says nothing of the film."""
LEVEL_PRIOR = 4.0
"""Nights by weight that hold the level at nothing."""
RECENT_DAYS = 120.0
"""Half-life of misses. Design choice after trials: shorter follows changes, longer is steadier."""
COPIES = 3
"""Times that each past night is looked at with an error of humidity drawn for it."""
ALONG_PCT: Floats = np.arange(40.0, 100.01, 0.5)
"""Where the current of nights is drawn against their wetness."""
PULL_MOST = 0.5
"""A night where there is hardly another pulls the line to itself; its miss is at most doubled."""
SLOPE_PRIOR_PCT2 = 4.0
"""Holds the slope of the line where all nights near are about as wet."""


@dataclass(frozen=True, slots=True, eq=False)
class Nights:
    """Past nights in order of time, shape (n,): age [d], wetness [% RH], log highest current
    [ln mA], arcing half-cycles. scores: wetness with drawn errors of the humidity, shape (n, k).
    coming: the night asked for. why: set where there are too few."""

    age_d: Floats
    wetness_pct: Floats
    log_ma: Floats
    arcing: Floats
    scores: Floats
    wettest_coming_pct: float | None
    wettest_known_pct: float
    why: str

    @property
    def count(self) -> int:
        """Nights that are known."""
        return int(self.age_d.shape[0])


@dataclass(frozen=True, slots=True)
class Night:
    """Low end, middle, high end of the highest hourly current [mA] and of arcing half-cycles."""

    current_ma: tuple[float, float, float]
    arcing: tuple[float, float, float]
    arcing_chance: float
    wettest_pct: float
    like: float


def nights_of(
    grid: SiteHours,
    current_ma: Floats,
    arcing: Floats,
    first: int,
    after: int,
    humidity_sd_pct: float = 0.0,
    lagged: Floats | None = None,
) -> Nights:
    """The same stretch of the day as places [first, after) of the grid, on every day before.

    lagged: `lagged_humidity` of the grid, where it is known already.
    """
    lagged = lagged_humidity(grid) if lagged is None else lagged
    hours = after - first
    begins = np.arange(first - 24, -1, -24)[::-1]
    begins = begins[begins + hours <= first]
    known_rh = np.isfinite(grid.rh_pct)
    coming = _wettest(lagged, np.array([first]), hours)[0]
    places = begins[:, None] + np.arange(hours)
    both = known_rh[places] & np.isfinite(current_ma[places])
    kept = both.mean(axis=1) >= HOURS_SHARE
    begins, places = begins[kept], places[kept]
    highest = np.nanmax(current_ma[places], axis=1) if begins.size else np.zeros(0)
    wetness = _wettest(lagged, begins, hours)
    copies = COPIES if humidity_sd_pct > 0 else 1
    draw = np.random.default_rng(0)  # the same errors for the same history
    errors = draw.normal(0.0, 1.0, (begins.shape[0], copies)) * humidity_sd_pct
    why = ""
    if begins.shape[0] < NIGHTS_MIN:
        why = f"{begins.shape[0]} past nights with humidity and current; {NIGHTS_MIN} are needed"
    if not np.isfinite(coming):
        why = "no humidity is forecast"
    return Nights(
        age_d=(first - begins) / 24.0,
        wetness_pct=wetness,
        log_ma=np.log(np.maximum(highest, 1e-9)),
        arcing=arcing[places].sum(axis=1) if begins.size else np.zeros(0),
        scores=np.clip(wetness[:, None] + errors, SCORE_LOW_PCT, 100.0),
        wettest_coming_pct=float(coming) if np.isfinite(coming) else None,
        wettest_known_pct=float(np.max(wetness)) if begins.size else 0.0,
        why=why,
    )


def lagged_humidity(grid: SiteHours) -> Floats:
    """Humidity of each hour as a lagging film feels it [% RH]; NaN where it is not known."""
    known = np.isfinite(grid.rh_pct)
    if not bool(np.any(known)):
        return np.full(grid.count, np.nan)
    return np.asarray(np.where(known, felt(_carried(grid.rh_pct), MEMORY_PCT), np.nan))


def _wettest(lagged: Floats, begins: Ints, hours: int) -> Floats:
    """Highest of each night; NaN where none is known."""
    if not begins.size:
        return np.zeros(0)
    within = np.nan_to_num(lagged[begins[:, None] + np.arange(hours)], nan=-np.inf)
    highest = within.max(axis=1)
    return np.asarray(np.where(np.isfinite(highest), np.maximum(highest, SCORE_LOW_PCT), np.nan))


def _carried(rh_pct: Floats) -> Floats:
    """Gaps filled with the last humidity before, so that the lag goes on from there."""
    at = np.maximum.accumulate(np.where(np.isfinite(rh_pct), np.arange(rh_pct.shape[0]), 0))
    carried = rh_pct[at]
    return np.asarray(np.where(np.isfinite(carried), carried, SCORE_LOW_PCT))


def interval_of(nights: Nights, level: float) -> Night | None:
    """What the coming night is expected to bring; None where `nights.why` says why not."""
    coming = nights.wettest_coming_pct
    if nights.why or coming is None:
        return None
    copies = nights.scores.shape[1]
    log_ma = np.repeat(nights.log_ma, copies)
    score, age_d = nights.scores.ravel(), np.repeat(nights.age_d, copies)
    curve, pull = _curve(score, log_ma, NEIGHBOURS * copies)
    away = (log_ma - np.interp(score, ALONG_PCT, curve)) / (1.0 - np.interp(score, ALONG_PCT, pull))
    own = away.reshape(-1, copies).mean(axis=1)
    before = _level(nights, own, nights.wetness_pct, nights.age_d)
    missed = away - np.repeat(before, copies)
    expected = float(np.interp(coming, ALONG_PCT, curve))
    expected += float(_level(nights, own, np.array([coming]), np.zeros(1))[0])
    near = _near(score, age_d, coming, NEIGHBOURS * copies)
    like = float(np.square(np.sum(near)) / np.sum(np.square(near))) / copies
    low, middle, high = (expected + one for one in _quantiles(missed, near, like, level))
    counts = np.repeat(nights.arcing, copies)
    return Night(
        current_ma=(float(np.exp(low)), float(np.exp(middle)), float(np.exp(high))),
        arcing=_quantiles(counts, near, like, level),
        arcing_chance=float(np.sum(near * (counts > 0)) / np.sum(near)),
        wettest_pct=coming,
        like=like,
    )


def _reach(away_pct: Floats, neighbours: float) -> Floats:
    """Distance in wetness within which so many nights lie, for each row [% RH]."""
    wanted = min(round(neighbours), away_pct.shape[1] - 1)
    reach = np.partition(away_pct, wanted, axis=1)[:, wanted]
    return np.asarray(np.clip(reach, SCORE_STEP_PCT, WIDEST_PCT))


def _curve(score: Floats, log_ma: Floats, neighbours: float) -> tuple[Floats, Floats]:
    """Log current against wetness along ALONG_PCT, a straight line through nights near each place;
    and how far a night there pulls it to itself, which makes its miss look too small."""
    x = score[None, :] - ALONG_PCT[:, None]
    weight = np.exp(-0.5 * np.square(x / (0.7 * _reach(np.abs(x), neighbours)[:, None])))
    total = np.maximum(weight.sum(axis=1), 1e-9)
    mean_x, mean_y = (weight * x).sum(axis=1) / total, weight @ log_ma / total
    spread = (weight * np.square(x)).sum(axis=1) / total - np.square(mean_x)
    both = (weight * x) @ log_ma / total - mean_x * mean_y
    held = np.maximum(spread, 0.0) + SLOPE_PRIOR_PCT2 / total
    curve = mean_y - np.maximum(both, 0.0) / held * mean_x
    pull = (1.0 + np.square(mean_x) / held) / np.maximum(total, 1.0)
    return np.asarray(curve), np.asarray(np.minimum(pull, PULL_MOST))


def _level(nights: Nights, away: Floats, at_pct: Floats, age_d: Floats) -> Floats:
    """What the nights before each of these say of the surface's level at about this wetness."""
    since = nights.age_d[None, :] - age_d[:, None]
    apart = (nights.wetness_pct[None, :] - at_pct[:, None]) / LEVEL_PCT
    like = np.exp(-0.5 * np.square(apart))
    weight = np.where(since > 0, like * np.exp2(-np.maximum(since, 0.0) / LEVEL_DAYS), 0.0)
    return np.asarray(weight @ away / (weight.sum(axis=1) + LEVEL_PRIOR))


def _near(score: Floats, age_d: Floats, coming: float, neighbours: float) -> Floats:
    """How much each night counts for the coming one: like wetness, and not long ago."""
    x = np.abs(score - coming)
    reach = float(_reach(x[None, :], neighbours)[0])
    return np.asarray(np.exp(-0.5 * np.square(x / reach)) * np.exp2(-age_d / RECENT_DAYS))


def _quantiles(
    column: Floats, weight: Floats, like: float, level: float
) -> tuple[float, float, float]:
    """Low end, median, high end among weighted nights: by rank among `like` nights and the one to
    come, so that few nights give a wide interval."""
    order = np.argsort(column, kind="stable")
    share = np.cumsum(weight[order]) - 0.5 * weight[order]
    rank = share / np.sum(weight) * like + 0.5
    wanted = np.array([0.5 - level / 2, 0.5, 0.5 + level / 2]) * (like + 1.0)
    low, middle, high = np.interp(wanted, rank, column[order])
    return float(low), float(middle), float(high)
