"""What time in dry air does: did a lowered onset come back, and how film current falls with it.

A silicone surface wetted by corona or salt takes its hydrophobicity back in hours to days of dry
air (weak source: a maker's statement; several hours to a few days), and hardly in water. A lowered
onset that is still there after cleaning rain and 48 dry hours is called lasting (design choice).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gateway.trends.causes import Recovery
from gateway.trends.columns import Bools, Floats
from gateway.trends.distributions import two_sided_t
from gateway.trends.hours import CurrentHours, SiteHours
from gateway.trends.response import Response, compare_hours
from gateway.trends.selecting import dry_levels
from gateway.trends.wetness import cleaning_rain, dry_hours_before, wet_hours

DRY_HOURS = 48
SHORTER_DRY_HOURS = (24, 16)
"""Where too few nights follow 48 dry hours in one run, nights after shorter runs may show that the
onset came back; that it stayed they cannot show."""
RETURNED_SHARE = 0.5
"""A shift that fell below this share of what it was has come back."""
LATE_SHARE = 1 / 3
"""Without nights after 48 dry hours in one run, the last third of the period speaks."""
CLOCK_EDGES_H = (0, 8, 16, 24, 48)


def recovery_of(
    grid: SiteHours, current: CurrentHours, earlier: Bools, later: Bools, shift_pct: float
) -> Recovery:
    """Whether the shift stayed in nights after long dry spells, and late in the period."""
    if not _washed_by_rain(grid, later):
        return Recovery.UNKNOWN
    wet = wet_hours(grid.rh_pct, grid.rain_mm)
    before = dry_hours_before(wet)
    dry = dry_levels(grid, current, earlier, later)

    def shift(nights: Bools) -> float | None:
        found = compare_hours(grid, current, earlier, later & nights, dry=dry).fit
        return None if found is None else found.shift_pct

    rested, late = shift(before >= DRY_HOURS), shift(_late(later, wet))
    shorter = [shift(before >= hours) for hours in SHORTER_DRY_HOURS] if rested is None else []
    gone = RETURNED_SHARE * shift_pct
    if any(one is not None and one < gone for one in (rested, late, *shorter)):
        return Recovery.RETURNED
    return Recovery.UNKNOWN if rested is None and late is None else Recovery.STAYED


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
