"""A site on its grid, and the evidence of one insulator for the table of causes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from gateway.trends.causes import Evidence, Recovery, Way
from gateway.trends.columns import (
    Action,
    Bools,
    MaintenanceRow,
    Period,
    SiteColumns,
    WeatherColumns,
    actions_for,
)
from gateway.trends.curve import Shift
from gateway.trends.hours import CurrentHours, SiteHours, current_hours, site_hours
from gateway.trends.model import Fit
from gateway.trends.moves import SHIFT_LEAST_PCT, STEP_LEAST, Move, Pattern
from gateway.trends.recovery import recovery_of
from gateway.trends.response import Response, compare_hours
from gateway.trends.selecting import places
from gateway.trends.sensor import SelfTest, SensorCheck, outage_hours, self_test_of, silent_hours
from gateway.trends.wetness import wet_hours

READING_BETTER_BY = 2.0
"""The probe's reading was moved, not the films, where that is so much likelier for most insulators
(half the usual deviance): they share the probe, and nothing else shifts all of them alike."""
HINTED_SHIFT_PCT = 1.0
SIBLINGS_LEAST = 3
"""So many insulators must shift alike before the probe is suspected for it alone."""
FOG_QUANTILE = 0.995
FOG_READS_PCT = 97.0
"""In fog a sound probe reads 97 to 100 % (common practice)."""
FOG_MOVED_PCT = 3.0
"""A fog reading that moved so far between the periods: the probe drifted."""
STAND_FOR = 0.25
"""With a current in fewer of a period's wet hours its nights stand for nothing."""
BETTER_ALONE = (Action.WASH, Action.RECOAT, Action.REPLACE)


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """The site on its grid, and the hours of both periods."""

    grid: SiteHours
    span: Period
    currents: Mapping[str, CurrentHours]
    silent: Mapping[str, Bools]
    outage: Bools
    tests: Mapping[str, SelfTest]
    earlier: Bools
    later: Bools
    wet: Bools


def on_grid(
    columns: SiteColumns, weather: WeatherColumns, reference: Period, now: Period, span: Period
) -> Site:
    grid = site_hours(weather, span.from_us, span.to_us)
    earlier = places(grid, reference)
    later = places(grid, now) & ~earlier
    raw = {name: current_hours(rows, grid) for name, rows in columns.insulators.items()}
    tests = {name: self_test_of(one, grid, earlier) for name, one in raw.items()}
    silent = {name: silent_hours(one, tests[name].level_ma) for name, one in raw.items()}
    outage = outage_hours(silent, raw) if raw else np.zeros(grid.count, dtype=np.bool_)
    currents = {
        name: replace(one, current_ma=np.where(silent[name], np.nan, one.current_ma))
        for name, one in raw.items()
    }
    wet = wet_hours(grid.rh_pct, grid.rain_mm)
    return Site(grid, span, currents, silent, outage, tests, earlier, later, wet)


def compared(site: Site) -> dict[str, Response]:
    """The response of every insulator; with the probe's reading as what moved if that is so."""

    def all_as(kind: Shift) -> dict[str, Response]:
        return {
            name: compare_hours(site.grid, one, site.earlier, site.later, kind=kind)
            for name, one in site.currents.items()
        }

    films = all_as(Shift.FILM)
    fits = [one.fit for one in films.values() if one.fit is not None]
    if not fits:
        return films
    gain = float(np.median([one.reading_gain for one in fits]))
    if gain >= READING_BETTER_BY:
        return all_as(Shift.READING)
    if len(fits) >= SIBLINGS_LEAST and gain > -READING_BETTER_BY and _like_a_reading(fits):
        readings = all_as(Shift.READING)
        if _alike_and_still([one.fit for one in readings.values() if one.fit is not None]):
            return readings
    return films


def _like_a_reading(fits: Sequence[Fit]) -> bool:
    """Whether films need more water and carry less, too, or the other way round: a shift of the
    reading looks so, as it lowers the current where a film's shift has ended."""
    step = float(np.median([one.step for one in fits]))
    shift = float(np.median([one.shift_pct for one in fits]))
    return step * shift > 0 and abs(shift) >= HINTED_SHIFT_PCT


def _alike_and_still(fits: Sequence[Fit]) -> bool:
    """Whether all shifted to the same side by enough to matter while their currents stood."""
    shifts = np.array([one.shift_pct for one in fits])
    still = float(np.median(np.abs([one.step for one in fits]))) < STEP_LEAST
    alike = bool(np.all(shifts > 0) or np.all(shifts < 0))
    return still and alike and float(np.median(np.abs(shifts))) >= SHIFT_LEAST_PCT


def way_of(log_size: float) -> Way:
    return Way.DOWN if log_size < 0 else Way.UP


def evidence_for(
    site: Site,
    current: CurrentHours,
    move: Move | None,
    check: SensorCheck,
    name: str,
    maintenance: Sequence[MaintenanceRow],
) -> Evidence:
    shifted = move is not None and move.shifted and move.shift_pct > 0
    recovery = Recovery.UNKNOWN
    if move is not None and shifted:
        recovery = recovery_of(site.grid, current, site.earlier, site.later, move.shift_pct)
    return Evidence(
        sensor=check.verdict,
        compared=move is not None and _enough(site, current),
        steps=Pattern.STILL if move is None else move.steps,
        way=way_of(0.0 if move is None else move.step),
        shifts=Pattern.STILL if move is None else move.shifts,
        shift_way=way_of(0.0 if move is None else move.shift_pct),
        either=move is not None and move.either,
        unsure=move is not None and move.unsure,
        recovery=recovery,
        explained=_explained(site, name, maintenance),
        probe_moved=_probe_moved(site),
    )


def _enough(site: Site, current: CurrentHours) -> bool:
    """Whether the hours with a current can stand for the wet hours of both periods."""
    good = site.wet & np.isfinite(current.current_ma)
    wet = (site.wet & one for one in (site.earlier, site.later))
    return all(np.sum(good & one) >= STAND_FOR * np.sum(one) for one in wet)


def _explained(site: Site, name: str, maintenance: Sequence[MaintenanceRow]) -> bool:
    """Whether somebody washed, coated or renewed this insulator between the periods' ends."""
    work = actions_for(maintenance, name, *BETTER_ALONE)
    inside = (site.grid.place(one.start_us) for one in work)
    return any(0 < place < site.grid.count for place in inside)


def _probe_moved(site: Site) -> bool:
    """Whether the highest readings, in fog if there was any, moved between the periods."""
    ceilings = []
    for chosen in (site.earlier, site.later):
        known = site.grid.rh_pct[chosen & np.isfinite(site.grid.rh_pct)]
        ceilings.append(float(np.quantile(known, FOG_QUANTILE)) if known.size else np.nan)
    return max(ceilings) >= FOG_READS_PCT and abs(ceilings[0] - ceilings[1]) >= FOG_MOVED_PCT
