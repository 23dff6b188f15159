"""The humidity response of one insulator: index at a reference wetness, onset, and their change.

A film's current rises with humidity from the dry level to a wet plateau. A deposit multiplies it
(index moves, onset stays); a loss of hydrophobicity lets films form in drier air (onset moves).
The onset is therefore the humidity at which the response reaches a stated share of the insulator's
own plateau.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gateway.trends.columns import Bools, Floats, Ints, Period
from gateway.trends.curve import Shift, curve_at, moved
from gateway.trends.hours import CurrentHours, SiteHours
from gateway.trends.model import SHIFT_MOST_PCT, Fit, Hours, Moved, fit
from gateway.trends.selecting import (
    LOWEST_RH_PCT,
    NO_HOURS,
    Dry,
    DryLevel,
    choose,
    dry_levels,
    places,
)

REFERENCE_RH_PCT = 90.0
"""The index is the current at this humidity: often reached on a coast, near the plateau."""
ONSET_SHARE = 0.25
"""The onset is where the response is this share of the wet plateau. Design choice."""
USUAL_ONSET_PCT = 80.0
"""Where an onset is thought to be that could not be seen."""
PLATEAU_RH_PCT = 97.0
"""Plateau: the response at this humidity, or at the highest with PLATEAU_HOURS hours above it."""
PLATEAU_HOURS = 10


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """What one pair of periods shows of one insulator. Currents in mA, humidity in %.

    fit: None where it could not be fitted; why says so. onset_*: None where the response does not
    reach down to ONSET_SHARE of its plateau above the floor. nights_*: wet nights that entered.
    night_hours: first hour (from 1970) of each night of `fit.levels`; night_later: 1.0 in the
    later period. block_keys: name of each block of
    `fit.influence`, equal for the same days of other insulators.
    """

    fit: Fit | None
    why: str
    index_reference_ma: float | None
    onset_reference_pct: float | None
    onset_now_pct: float | None
    nights_reference: int
    nights_now: int
    night_hours: Ints
    night_later: Floats
    block_keys: Ints
    dry_reference: DryLevel | None
    dry_now: DryLevel | None

    def fall_pct(self, shift_pct: float) -> float:
        """How far a shift lowers the onset [% RH] where it is; at USUAL_ONSET_PCT if unknown."""
        onset = self.onset_reference_pct or USUAL_ONSET_PCT
        return onset - _moved_onset(onset, shift_pct)


def compare_response(
    grid: SiteHours, current: CurrentHours, reference: Period, now: Period
) -> Response:
    """The response of one insulator in two periods, and what moved between them."""
    earlier = places(grid, reference)
    return compare_hours(grid, current, earlier, places(grid, now) & ~earlier)


def compare_hours(
    grid: SiteHours,
    current: CurrentHours,
    earlier: Bools,
    later: Bools,
    dry: Dry | None = None,
    what: Moved = Moved.SURFACE,
) -> Response:
    """As `compare_response`, of any two sets of hours that do not overlap.

    dry: known dry levels, where the hours themselves are too wet to tell. what: a step alone
    where nothing can have shifted, as with a wash, which takes deposit only.
    """
    levels = dry or dry_levels(grid, current, earlier, later)
    chosen = choose(grid, current, earlier, later, levels)
    found = None if chosen.hours is None else fit(chosen.hours, what)
    why = chosen.why
    if found is not None and abs(found.shift_pct) >= SHIFT_MOST_PCT:
        found, why = None, "the responses of the two periods have too little in common to compare"
    index = onset = None
    nights, later_nights = NO_HOURS, np.zeros(0)
    if found is not None and chosen.hours is not None and chosen.dry[0] is not None:
        index = float(np.exp(curve_at(found.curve, np.array([REFERENCE_RH_PCT]))[0]))
        onset = _onset(found, chosen.hours, chosen.dry[0].floor_ma)
        first = np.unique(chosen.hours.night, return_index=True)[1]
        nights = chosen.at[first] + grid.first_hour
        later_nights = chosen.hours.later[first]
    return Response(
        fit=found,
        why=why,
        index_reference_ma=index,
        onset_reference_pct=onset,
        onset_now_pct=None
        if onset is None or found is None
        else _moved_onset(onset, found.shift_pct),
        nights_reference=chosen.nights[0],
        nights_now=chosen.nights[1],
        night_hours=np.asarray(nights, dtype=np.int64),
        night_later=later_nights,
        block_keys=chosen.block_keys,
        dry_reference=chosen.dry[0],
        dry_now=chosen.dry[1],
    )


def later_log_ma(fit: Fit, rh_pct: Floats) -> Floats:
    """Log current of the later period at a humidity [ln mA], step and shift in it."""
    return np.asarray(curve_at(fit.curve, moved(rh_pct, fit.shift_pct, Shift.FILM)[0]) + fit.step)


def _moved_onset(onset_pct: float, shift_pct: float) -> float:
    return float(moved(np.array([onset_pct]), -shift_pct, Shift.FILM)[0][0])


def _onset(found: Fit, hours: Hours, floor_ma: float) -> float | None:
    """Humidity at which the reference curve reaches ONSET_SHARE of its plateau."""
    there = moved(hours.felt_pct[:, 0], found.shift_pct * hours.later, Shift.FILM)[0]
    top = min(PLATEAU_RH_PCT, float(np.sort(there)[-min(PLATEAU_HOURS, there.shape[0])]))
    along = np.arange(max(float(np.min(there)), LOWEST_RH_PCT - 20.0), top, 0.1)
    if along.shape[0] < 2:
        return None
    curve = curve_at(found.curve, along)
    wanted = curve[-1] + np.log(ONSET_SHARE)
    if wanted < max(float(curve[0]), float(np.log(floor_ma))):
        return None
    return float(along[int(np.searchsorted(curve, wanted))])
