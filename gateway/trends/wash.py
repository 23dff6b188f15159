"""What a wash did, measured: the current after it against before it, at equal wetness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from gateway.trends.columns import (
    DAY_US,
    Action,
    Bools,
    MaintenanceRow,
    Period,
    actions_for,
)
from gateway.trends.distributions import two_sided_t
from gateway.trends.hours import CurrentHours, SiteHours
from gateway.trends.response import compare_hours
from gateway.trends.selecting import places
from gateway.trends.wetness import wet_hours

BEFORE_DAYS, AFTER_DAYS = 90, 90
"""Nights within so many days are compared, never across other work on the same insulator."""
WET_HOURS_MIN = 20
"""With fewer good wet hours on either side nothing is said."""
WIDE_LOG = float(np.log(2.5))
"""An interval wider than this to either side says nothing but that more nights are needed."""


class Verdict(StrEnum):
    """Whether a wash lowered the current at equal wetness."""

    HELPED = "helped"
    DID_NOT = "did-not"
    NOT_ENOUGH = "not-enough-wet-hours"


@dataclass(frozen=True, slots=True)
class WashEffect:
    """ratio: current after to before at equal wetness, with its interval; None where not enough."""

    at_us: int
    ratio: float | None
    low: float | None
    high: float | None
    verdict: Verdict
    wet_hours_before: int
    wet_hours_after: int


def wash_effect(
    grid: SiteHours,
    current: CurrentHours,
    rows: Sequence[MaintenanceRow],
    insulator: str,
    span: Period,
    level: float,
) -> WashEffect | None:
    """The effect of the latest wash within `span`; None where there was none."""
    work = actions_for(rows, insulator, Action.WASH, Action.RECOAT, Action.REPLACE, Action.SENSOR)
    washes = [
        one
        for one in work
        if one.action is Action.WASH and span.from_us < one.start_us < span.to_us
    ]
    if not washes:
        return None
    effects = [_effect(grid, current, one.start_us, work, level) for one in reversed(washes)]
    told = [one for one in effects if one.verdict is not Verdict.NOT_ENOUGH]
    return told[0] if told else effects[0]


def _effect(
    grid: SiteHours,
    current: CurrentHours,
    at_us: int,
    work: Sequence[MaintenanceRow],
    level: float,
) -> WashEffect:
    others = [one.start_us for one in work if one.start_us != at_us]
    begin = max([at_us - BEFORE_DAYS * DAY_US, *(one for one in others if one < at_us)])
    end = min([at_us + AFTER_DAYS * DAY_US, *(one for one in others if one > at_us)])
    before, after = places(grid, Period(begin, at_us)), places(grid, Period(at_us, end))
    wet = wet_hours(grid.rh_pct, grid.rain_mm) & np.isfinite(current.current_ma)
    counts = int(np.sum(wet & before)), int(np.sum(wet & after))
    nothing = WashEffect(at_us, None, None, None, Verdict.NOT_ENOUGH, *counts)
    if min(counts) < WET_HOURS_MIN:
        return nothing
    return _compared(grid, current, before, after, nothing, level)


def _compared(
    grid: SiteHours,
    current: CurrentHours,
    before: Bools,
    after: Bools,
    nothing: WashEffect,
    level: float,
) -> WashEffect:
    fit = compare_hours(grid, current, before, after).fit
    if fit is None:
        return nothing
    wide = two_sided_t(level, fit.freedom[0]) * float(np.sqrt(fit.covariance[0, 0]))
    low, high = fit.step - wide, fit.step + wide
    verdict = Verdict.HELPED if high < 0 else Verdict.DID_NOT
    if verdict is Verdict.DID_NOT and wide > WIDE_LOG:
        verdict = Verdict.NOT_ENOUGH
    ratio, below, above = (float(np.exp(one)) for one in (fit.step, low, high))
    return WashEffect(
        nothing.at_us,
        ratio,
        below,
        above,
        verdict,
        nothing.wet_hours_before,
        nothing.wet_hours_after,
    )
