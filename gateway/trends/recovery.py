"""What time in dry air does: did a lowered onset come back, and how film current falls with it.

A silicone surface wetted by corona or salt takes its hydrophobicity back in hours to days of dry
air (weak source: a maker's statement; several hours to a few days), and hardly in water. A lowered
onset that is still there after cleaning rain and 48 dry hours is called lasting (design choice).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from gateway.trends.causes import Recovery
from gateway.trends.columns import Bools, Floats
from gateway.trends.distributions import two_sided_t
from gateway.trends.hours import CurrentHours, SiteHours
from gateway.trends.memory import FILM_RH_PCT, lost
from gateway.trends.mixed import MODEL_SD
from gateway.trends.response import Response, compare_hours
from gateway.trends.selecting import dry_levels
from gateway.trends.wetness import cleaning_rain, dry_hours_before, wet_hours

RESTED_QUANTILE, WORN_QUANTILE = 0.33, 0.67
"""Hours with a film are parted by how much hydrophobicity an ordinary surface would have lost by
then: the rested third and the worn third."""
QUICK_LOSES_H, QUICK_REGAINS_H = 10.0, 20.0
"""Of a surface that is quick to lose it and to take it back: nine tenths within 48 dry hours, which
is what reversible means here (design choice)."""
RETURNED_SHARE = 0.65
"""An onset that is lower in rested hours by less than this share of what it is in worn ones (or in
all) comes back; by more, it stays."""
SURE = 0.10
"""Chance of either being said where neither is so."""
DRY_HOURS = 48
DRY_RUNS_H = (DRY_HOURS, 24, 16)
"""Nights after so many dry hours in one run are looked at. After the shortest they may show that it
came back; that it stayed they cannot show."""
LATE_SHARE = 1 / 3
"""An onset that is back in the last third of the period has come back, too."""
LATE_BACK_SHARE = 0.5
CLOCK_EDGES_H = (0, 8, 16, 24, 48)


def recovery_of(
    grid: SiteHours, current: CurrentHours, earlier: Bools, later: Bools, shift_pct: float
) -> Recovery:
    """Whether the onset is back in rested hours, or late in the period, or lower in all.

    It stayed only where cleaning rain fell, 48 dry hours were had in all and rested hours show it:
    that nothing came back by itself in a period without rest proves nothing. It came back where any
    of the witnesses is sure of that: surfaces recover in one run of dry hours, or by and by.
    """
    if not _washed_by_rain(grid, later):
        return Recovery.UNKNOWN
    wet = wet_hours(grid.rh_pct, grid.rain_mm)
    dry = dry_levels(grid, current, earlier, later)

    def among(hours: Bools) -> Response:
        return compare_hours(grid, current, earlier, later & hours, dry=dry)

    late = among(_late(later, wet)).fit
    if late is not None and late.shift_pct < LATE_BACK_SHARE * shift_pct:
        return Recovery.RETURNED
    before, every = dry_hours_before(wet), among(later)
    long, day, shorter = (_compared(among(before >= hours), every) for hours in DRY_RUNS_H)
    worn = _by_wear(grid, later, among)
    if Recovery.RETURNED in (long, day, shorter, worn):
        return Recovery.RETURNED
    if int(np.sum(later & ~wet)) < DRY_HOURS:
        return Recovery.UNKNOWN
    return Recovery.STAYED if Recovery.STAYED in (long, day, worn) else Recovery.UNKNOWN


def _by_wear(grid: SiteHours, later: Bools, among: Callable[[Bools], Response]) -> Recovery:
    """What the rested third of the hours with a film says against the worn third."""
    film = later & (grid.rh_pct >= FILM_RH_PCT)
    if not bool(np.any(film)):
        return Recovery.UNKNOWN
    gone = lost(grid.rh_pct, QUICK_LOSES_H, QUICK_REGAINS_H)
    low, high = np.quantile(gone[film], (RESTED_QUANTILE, WORN_QUANTILE))
    return _compared(among(gone <= low), among(gone >= high))


def _compared(rested: Response, worn: Response) -> Recovery:
    """The shift of rested hours against RETURNED_SHARE of the shift of the others."""
    if rested.fit is None or worn.fit is None:
        return Recovery.UNKNOWN
    keys = np.union1d(rested.block_keys, worn.block_keys)
    pulls = np.zeros(keys.shape[0])
    pulls[np.searchsorted(keys, rested.block_keys)] += rested.fit.influence[:, 1]
    pulls[np.searchsorted(keys, worn.block_keys)] -= RETURNED_SHARE * worn.fit.influence[:, 1]
    left = rested.fit.shift_pct - RETURNED_SHARE * worn.fit.shift_pct
    sd = float(np.sqrt(np.sum(np.square(pulls)) + MODEL_SD[1] ** 2))
    wide = two_sided_t(1.0 - 2.0 * SURE, min(rested.fit.freedom[1], worn.fit.freedom[1])) * sd
    if left < -wide:
        return Recovery.RETURNED
    return Recovery.STAYED if left > wide else Recovery.UNKNOWN


def _late(later: Bools, wet: Bools) -> Bools:
    """The last third of the period, where 48 dry hours came before it; else nothing."""
    inside = np.flatnonzero(later)
    late = np.zeros(later.shape[0], dtype=np.bool_)
    late[inside[int((1 - LATE_SHARE) * inside.shape[0]) :]] = True
    if int(np.sum(later & ~late & ~wet)) < DRY_HOURS:
        late[:] = False
    return late


def _washed_by_rain(grid: SiteHours, later: Bools) -> bool:
    """Cleaning rain fell in the period; where rain is not measured, dry hours alone must do."""
    if not bool(np.any(np.isfinite(grid.rain_mm))):
        return True
    return bool(np.any(cleaning_rain(grid.rain_mm) & later))


@dataclass(frozen=True, slots=True)
class ClockBand:
    """Nights whose dry spell before was from_h to to_h long: log current against the mean of all
    nights at equal wetness, with its interval; the number of nights."""

    from_h: int
    to_h: int | None
    log_mean: float
    log_low: float
    log_high: float
    nights: int


def recovery_clock(grid: SiteHours, response: Response, level: float) -> tuple[ClockBand, ...]:
    """Film current at equal wetness against the dry hours before; bands with three nights or more.

    The step between the periods is taken out, so only the clock is left.
    """
    if response.fit is None:
        return ()
    places = response.night_hours - grid.first_hour
    before = dry_hours_before(wet_hours(grid.rh_pct, grid.rain_mm))[places]
    levels = response.fit.levels - response.fit.step * response.night_later
    levels = levels - float(np.mean(levels))
    bands = []
    for low, high in zip(CLOCK_EDGES_H, (*CLOCK_EDGES_H[1:], None), strict=True):
        within = levels[(before >= low) & (before < (np.inf if high is None else high))]
        if within.shape[0] >= 3:
            bands.append(_band(low, high, within, level))
    return tuple(bands)


def _band(low: int, high: int | None, within: Floats, level: float) -> ClockBand:
    mean = float(np.mean(within))
    sd = float(np.std(within, ddof=1)) / np.sqrt(within.shape[0])
    wide = two_sided_t(level, within.shape[0] - 1) * sd
    return ClockBand(low, high, mean, mean - wide, mean + wide, int(within.shape[0]))
