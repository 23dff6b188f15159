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


def dry_level_ma(current: CurrentHours, grid: SiteHours, chosen: Bools) -> float:
    """Median of the driest hours with any current [mA]; 0.0 where there is none."""
    known = chosen & (current.total_ma > LEVEL_LEAST_MA) & np.isfinite(grid.rh_pct)
    if int(known.sum()) < MONTH_DRY_HOURS:
        return 0.0
    limit = max(DRY_RH_PCT, float(np.quantile(grid.rh_pct[known], 0.1)))
    driest = known & (grid.rh_pct <= limit)
    return float(np.median(current.total_ma[driest])) if bool(np.any(driest)) else 0.0


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
    current: CurrentHours,
    grid: SiteHours,
    level_ma: float,
    silent: Bools,
    outage: Bools,
    now: Bools,
) -> SensorCheck:
    """The self-test over the now period."""
    if level_ma < LEVEL_LEAST_MA:
        return SensorCheck(Sensor.NO_LEVEL, level_ma, None, None, 0.0, 0.0)
    hours = max(1, int(np.sum(now & np.isfinite(current.total_ma))))
    alone = int(np.sum(now & silent & ~outage)) / hours
    together = int(np.sum(now & outage)) / hours
    shares = _monthly_shares(current.total_ma, grid.rh_pct, now & ~silent, level_ma)
    low = float(np.min(shares)) if shares.size else None
    high = float(np.max(shares)) if shares.size else None
    verdict = Sensor.GOOD
    if alone > DEAD_SHARE:
        verdict = Sensor.DEAD
    elif low is not None and low < FADED_BELOW:
        verdict = Sensor.FADED
    elif high is not None and high > RAISED_ABOVE:
        verdict = Sensor.RAISED
    return SensorCheck(verdict, level_ma, low, high, alone, together)


def _monthly_shares(total_ma: Floats, rh_pct: Floats, chosen: Bools, level_ma: float) -> Floats:
    """Dry level of each month against the reference; the last month reaches to the period's end."""
    at = np.flatnonzero(chosen & np.isfinite(total_ma) & (rh_pct <= MONTH_DRY_RH_PCT))
    if at.shape[0] < MONTH_DRY_HOURS:
        return np.zeros(0)
    ends = np.arange(at[-1], at[0] - 1, -MONTH_HOURS)
    shares = []
    for end in ends:
        month = at[(at <= end) & (at > end - MONTH_HOURS)]
        if month.shape[0] >= MONTH_DRY_HOURS:
            driest = month[np.argsort(rh_pct[month], kind="stable")[: max(12, len(month) // 4)]]
            shares.append(float(np.quantile(total_ma[driest], 0.4)) / level_ma)
    return np.asarray(shares)
