"""What a wash did, measured: the current after it against before it, at equal wetness.

A season brings and takes salt, too, and a run of odd nights is odd for the whole site. So what the
siblings did that nobody touched is taken off, where there are some.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from gateway.trends.columns import (
    DAY_US,
    Action,
    Ints,
    MaintenanceRow,
    Period,
    actions_for,
)
from gateway.trends.distributions import two_sided_t
from gateway.trends.hours import CurrentHours, SiteHours
from gateway.trends.model import Fit, Hours, Moved, fit
from gateway.trends.selecting import NIGHTS_MIN, Chosen, choose, dry_levels, places
from gateway.trends.wetness import wet_hours

WORK = (Action.WASH, Action.RECOAT, Action.REPLACE, Action.SENSOR)
BEFORE_DAYS, AFTER_DAYS = 90, 90
"""Nights within so many days are compared, never across other work on the same insulator."""
WET_HOURS_MIN = 20
"""With fewer good wet hours on either side nothing is said."""
SIBLINGS_MOST = 4
"""More siblings than these add work and hardly knowledge: what they share, they share."""
UNLIKE_SD = 0.03
"""How far siblings' ratios differ in a season that nobody touched them in, nights apart [ln]: they
see the sun and the rain unlike. Design choice after trials without night effects."""
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
    siblings: Mapping[str, CurrentHours],
) -> WashEffect | None:
    """The effect of the latest wash within `span`; None where there was none.

    siblings: insulators of the site whose sensors are believed.
    """
    work = actions_for(rows, insulator, *WORK)
    washes = [
        one
        for one in work
        if one.action is Action.WASH and span.from_us < one.start_us < span.to_us
    ]
    if not washes:
        return None
    others = [
        (one, actions_for(rows, name, *WORK)) for name, one in siblings.items() if name != insulator
    ]
    effects = [
        _effect(grid, current, one.start_us, work, level, others) for one in reversed(washes)
    ]
    told = [one for one in effects if one.verdict is not Verdict.NOT_ENOUGH]
    return told[0] if told else effects[0]


def _effect(
    grid: SiteHours,
    current: CurrentHours,
    at_us: int,
    work: Sequence[MaintenanceRow],
    level: float,
    siblings: Sequence[tuple[CurrentHours, Sequence[MaintenanceRow]]],
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
    untouched = [
        one for one, done in siblings if not any(begin <= row.start_us <= end for row in done)
    ]
    own, *peers = (
        choose(grid, one, before, after, dry_levels(grid, one, before, after))
        for one in (current, *untouched[:SIBLINGS_MOST])
    )
    hours = _against(own, peers)
    if hours is None:
        return nothing
    found = fit(hours, Moved.DEPOSIT)
    return _told(nothing, found, level)


def _against(own: Chosen, peers: Sequence[Chosen]) -> Hours | None:
    """The insulator's log current less the mean of its siblings' in the same hours.

    What a night or a season does to all of them is gone then, before anything is fitted. Siblings
    that have too few nights in common with it are left out.
    """
    at = own.at
    among: list[Chosen] = []
    for one in peers:
        both = np.intersect1d(at, one.at) if one.hours is not None else at[:0]
        if own.hours is not None and _enough(own, both):
            at, among = both, [*among, one]
    if own.hours is None:
        return None
    mine = np.searchsorted(own.at, at)
    hours = Hours(*(getattr(own.hours, name)[mine] for name in Hours.__slots__))
    others = [one.hours.log_ma[np.searchsorted(one.at, at)] for one in among if one.hours]
    log_ma = hours.log_ma - (np.mean(others, axis=0) if others else 0.0)
    night, block = (np.unique(one, return_inverse=True)[1] for one in (hours.night, hours.block))
    return replace(hours, log_ma=log_ma, night=night, block=block)


def _enough(own: Chosen, at: Ints) -> bool:
    """Whether enough nights of both sides are left in these hours."""
    assert own.hours is not None
    mine = np.searchsorted(own.at, at)
    later, night = own.hours.later[mine] > 0, own.hours.night[mine]
    return min(np.unique(night[one]).size for one in (later, ~later)) >= NIGHTS_MIN


def _told(nothing: WashEffect, found: Fit, level: float) -> WashEffect:
    step, sd = found.step, float(np.sqrt(found.covariance[0, 0] + UNLIKE_SD**2))
    wide = two_sided_t(level, found.freedom[0]) * sd
    low, high = step - wide, step + wide
    verdict = Verdict.HELPED if high < 0 else Verdict.DID_NOT
    if verdict is Verdict.DID_NOT and wide > WIDE_LOG:
        verdict = Verdict.NOT_ENOUGH
    ratio, below, above = (float(np.exp(one)) for one in (step, low, high))
    return WashEffect(
        nothing.at_us,
        ratio,
        below,
        above,
        verdict,
        nothing.wet_hours_before,
        nothing.wet_hours_after,
    )
