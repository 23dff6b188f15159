"""Whether a sensor can be believed: its dry capacitive current is its permanent self-test.

A surface that ages or is washed does not change the dry current. So a dry level that moved, or a
current that vanished, speaks of the sensor, its lead, a bypass or the line, never of a better
surface.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from gateway.trends.columns import Bools, Floats
from gateway.trends.hours import CurrentHours, SiteHours
from gateway.trends.selecting import DRY_RH_PCT

NO_CURRENT_SHARE = 0.2
"""Below this share of the dry level there is no current: dead sensor, open lead or dead line."""
LEVEL_LEAST_MA = 1e-4
"""A dry level below 0.1 uA cannot serve as a self-test."""
FADED_BELOW, RAISED_ABOVE = 0.80, 1.30
"""A month's dry level outside this, against the reference: the sensor's gain is doubted."""
MONTH_HOURS = 30 * 24
MONTH_DRY_HOURS = 12
MONTH_DRY_RH_PCT = 65.0
"""A month without a dozen hours below this humidity tells nothing of its dry level."""
DEAD_SHARE = 0.02
"""More hours without current than this, while a sibling had one, is a sensor that died or dropped
out."""


LIVE_SHARE = 0.5
"""At least this share of the driest hours must have a current for it to be a level."""
SPREAD_MOST = 0.25
"""A dry current that scatters more (relative) is no level."""
SPREADS = 4.0
"""A month is doubted beyond so many standard errors of its median, whatever its share."""


class Sensor(StrEnum):
    """What the self-test says."""

    GOOD = "good"
    FADED = "faded"
    RAISED = "raised"
    DEAD = "dead"
    NO_LEVEL = "no-level"  # no dry level in the reference: there is no self-test


@dataclass(frozen=True, slots=True)
class SensorCheck:
    """level_ma: reference dry level. low, high: extreme monthly levels of now against it; None
    where no month could tell. silent_share: hours of now without current though siblings had one.
    outage_share: hours of now in which nobody had one.
    """

    verdict: Sensor
    level_ma: float
    low: float | None
    high: float | None
    silent_share: float
    outage_share: float


@dataclass(frozen=True, slots=True)
class SelfTest:
    """level_ma: dry level of the reference, 0.0 where there is none that could serve. spread:
    relative scatter of its hours."""

    level_ma: float
    spread: float


NO_TEST = SelfTest(0.0, 0.0)


def self_test_of(current: CurrentHours, grid: SiteHours, chosen: Bools) -> SelfTest:
    """The dry level of the driest hours, where most of them have one and agree about it.

    Without a capacitive current the driest hours read near zero or follow the humidity; taking that
    for a level would call every dry day a dead sensor.
    """
    known = chosen & np.isfinite(current.total_ma) & np.isfinite(grid.rh_pct)
    if int(known.sum()) < MONTH_DRY_HOURS:
        return NO_TEST
    limit = max(DRY_RH_PCT, float(np.quantile(grid.rh_pct[known], 0.1)))
    driest = current.total_ma[known & (grid.rh_pct <= limit)]
    live = driest[driest > LEVEL_LEAST_MA]
    if live.shape[0] < max(1.0, LIVE_SHARE * driest.shape[0]):
        return NO_TEST
    level = float(np.median(live))
    spread = 1.4826 * float(np.median(np.abs(np.log(live / level))))
    return NO_TEST if spread > SPREAD_MOST else SelfTest(level, spread)


def silent_hours(current: CurrentHours, level_ma: float) -> Bools:
    """Hours with rows but without current; never where there is no level to compare with."""
    if level_ma < LEVEL_LEAST_MA:
        return np.zeros(current.total_ma.shape[0], dtype=np.bool_)
    return np.asarray(current.total_ma < NO_CURRENT_SHARE * level_ma)


def outage_hours(silent: Mapping[str, Bools], current: Mapping[str, CurrentHours]) -> Bools:
    """Hours in which nobody who reported had a current."""
    reported = np.array([np.isfinite(one.total_ma) for one in current.values()])
    live = np.array([~silent[name] for name in current]) & reported
    return np.asarray(np.any(reported, axis=0) & ~np.any(live, axis=0))


def check_sensor(
    current: CurrentHours, grid: SiteHours, test: SelfTest, silent: Bools, outage: Bools, now: Bools
) -> SensorCheck:
    """The self-test over the now period."""
    level_ma = test.level_ma
    if level_ma < LEVEL_LEAST_MA:
        return SensorCheck(Sensor.NO_LEVEL, level_ma, None, None, 0.0, 0.0)
    slack = SPREADS * 1.25 * test.spread / np.sqrt(MONTH_DRY_HOURS)
    hours = max(1, int(np.sum(now & np.isfinite(current.total_ma))))
    alone = int(np.sum(now & silent & ~outage)) / hours
    together = int(np.sum(now & outage)) / hours
    there = now & ~silent & np.isfinite(current.total_ma)
    levels = _monthly_levels(current.total_ma, grid.rh_pct, there, MONTH_DRY_RH_PCT, 0.4)
    dryer = _monthly_levels(current.total_ma, grid.rh_pct, there, DRY_RH_PCT, 0.25)
    low = float(np.min(levels)) / level_ma if levels.size else None
    high = float(np.max(dryer)) / level_ma if dryer.size else None
    verdict = Sensor.GOOD
    if alone > DEAD_SHARE:
        verdict = Sensor.DEAD
    elif low is not None and low < min(FADED_BELOW, 1.0 - slack):
        verdict = Sensor.FADED
    elif high is not None and high > max(RAISED_ABOVE, 1.0 + slack):
        verdict = Sensor.RAISED
    return SensorCheck(verdict, level_ma, low, high, alone, together)


def _monthly_levels(
    total_ma: Floats, rh_pct: Floats, chosen: Bools, below_pct: float, quantile: float
) -> Floats:
    """Dry level of each month [mA], from its driest hours; the last month reaches to the end.

    A film conducts a little even in fairly dry air, so a level that rose is believed of the driest
    and lowest hours only; one that fell cannot be the film's.
    """
    at = np.flatnonzero(chosen & (rh_pct <= below_pct))
    if at.shape[0] < MONTH_DRY_HOURS:
        return np.zeros(0)
    levels = []
    for end in np.arange(at[-1], at[0] - 1, -MONTH_HOURS):
        month = at[(at <= end) & (at > end - MONTH_HOURS)]
        if month.shape[0] >= MONTH_DRY_HOURS:
            driest = month[np.argsort(rh_pct[month], kind="stable")[: max(12, len(month) // 4)]]
            levels.append(float(np.quantile(total_ma[driest], quantile)))
    return np.asarray(levels)
