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
from gateway.trends.hours import CurrentHours, SiteHours, current_hours, site_hours
from gateway.trends.moves import Move, Pattern
from gateway.trends.probe import Fog, Probe, ProbeCheck, check_probe, fog_of
from gateway.trends.recovery import recovery_of
from gateway.trends.response import Response, compare_hours
from gateway.trends.selecting import places
from gateway.trends.sensor import SelfTest, SensorCheck, outage_hours, self_test_of, silent_hours
from gateway.trends.wetness import wet_hours

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


def compared(site: Site) -> tuple[Site, dict[str, Response], ProbeCheck]:
    """The response of every insulator. Where the probe moved, the site is given back with the later
    readings set right, and what is left to compare is the surfaces'."""
    responses = _responses(site)
    fits = [one.fit for one in responses.values() if one.fit is not None]
    probe = check_probe(fits, fog_of(site.grid, site.earlier, site.later))
    if probe.verdict is not Probe.MOVED:
        return site, responses, probe
    rh = np.where(site.later, np.minimum(site.grid.rh_pct + probe.by_pct, 100.0), site.grid.rh_pct)
    righted = replace(site, grid=replace(site.grid, rh_pct=rh))
    return righted, _responses(righted), probe


def _responses(site: Site) -> dict[str, Response]:
    return {
        name: compare_hours(site.grid, one, site.earlier, site.later)
        for name, one in site.currents.items()
    }


def way_of(log_size: float) -> Way:
    return Way.DOWN if log_size < 0 else Way.UP


def evidence_for(
    site: Site,
    current: CurrentHours,
    move: Move | None,
    check: SensorCheck,
    name: str,
    maintenance: Sequence[MaintenanceRow],
    probe: ProbeCheck,
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
        probe=probe.verdict,
        fog_moved=probe.fog in (Fog.LOWER, Fog.HIGHER),
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
