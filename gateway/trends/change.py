"""Is this surface worse than it was, is it this one or the whole site, and what to do: the entry.

`compare_periods` puts rows on the hourly grid, tests the sensors, fits the responses, judges the
moves against siblings, names the cause and the decision. Pure; a site without humidity gets its
exposure only and null for everything that needs wetness.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from gateway.trends.assessment import (
    BASELINE_NIGHTS,
    GOOD_SHARE_LEAST,
    Advice,
    Case,
    Data,
    advised,
)
from gateway.trends.causes import Cause, Evidence, Recovery, Rule, Way, judged
from gateway.trends.changepoint import change_us
from gateway.trends.columns import (
    Action,
    Bools,
    MaintenanceRow,
    Period,
    RegisterEntry,
    SiteColumns,
    SurfaceType,
    WeatherColumns,
    actions_for,
)
from gateway.trends.hours import CurrentHours, SiteHours, current_hours, site_hours
from gateway.trends.moves import Move, Pattern, moves
from gateway.trends.reasons import reasons_for
from gateway.trends.recovery import ClockBand, recovery_clock, recovery_of
from gateway.trends.response import Response, compare_hours, places
from gateway.trends.sensor import (
    Sensor,
    SensorCheck,
    check_sensor,
    dry_level_ma,
    outage_hours,
    silent_hours,
)
from gateway.trends.wash import Verdict, WashEffect, wash_effect
from gateway.trends.wetness import wet_hours

INTERVAL_LEVEL = 0.90
FOG_QUANTILE = 0.995
FOG_READS_PCT = 97.0
"""In fog a sound probe reads 97 to 100 % (common practice)."""
FOG_MOVED_PCT = 3.0
"""A fog reading that moved so far between the periods: the probe drifted."""
BETTER_ALONE = (Action.WASH, Action.RECOAT, Action.REPLACE)


@dataclass(frozen=True, slots=True)
class InsulatorTrend:
    """What is said of one insulator. None: it could not be said; `found` and `reasons` say why.

    move: None where the periods could not be compared. good_share: of the wet hours of now.
    index_reference_ma: film current at the reference wetness in the reference period.
    """

    insulator: str
    index_ratio: float | None
    index_ratio_low: float | None
    index_ratio_high: float | None
    index_reference_ma: float | None
    onset_rh_reference: float | None
    onset_rh_now: float | None
    wet_hours_reference: int
    wet_hours_now: int
    good_share: float | None
    changed: bool | None
    changed_us: int | None
    cause: Cause
    rule: Rule
    advice: Advice
    reasons: tuple[str, ...]
    wash: WashEffect | None
    move: Move | None
    sensor: SensorCheck
    clock: tuple[ClockBand, ...]
    response: Response
    found: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SiteTrend:
    """All insulators of a site by name; `found`: what is wrong with the weather."""

    site: str
    reference: Period
    now: Period
    interval_level: float
    insulators: tuple[InsulatorTrend, ...]
    found: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Site:
    """The site on its grid, and the hours of both periods."""

    grid: SiteHours
    currents: Mapping[str, CurrentHours]
    silent: Mapping[str, Bools]
    outage: Bools
    levels: Mapping[str, float]
    earlier: Bools
    later: Bools
    wet: Bools


def compare_periods(
    columns: SiteColumns,
    weather: WeatherColumns | None,
    register: Mapping[str, RegisterEntry],
    reference: Period,
    now: Period,
    maintenance: Sequence[MaintenanceRow] = (),
    damaged: frozenset[str] = frozenset(),
) -> SiteTrend:
    """Everything said of the change of a site between two periods.

    damaged: insulators on which an inspection found erosion or tracking that is not light.
    """
    span = Period(min(reference.from_us, now.from_us), max(reference.to_us, now.to_us))
    site = _on_grid(columns, weather or _no_weather(), reference, now, span)
    responses = {
        name: compare_hours(site.grid, current, site.earlier, site.later)
        for name, current in site.currents.items()
    }
    checks = {
        name: check_sensor(
            current, site.grid, site.levels[name], site.silent[name], site.outage, site.later
        )
        for name, current in site.currents.items()
    }
    sound = {name: one for name, one in responses.items() if _sound(checks[name])}
    moved = _among_equals(sound, register)
    trends = tuple(
        _one(site, name, responses[name], moved.get(name), checks[name], register.get(name),
             maintenance, span, name in damaged)
        for name in sorted(columns.insulators)
    )  # fmt: skip
    found = site.grid.found.said if weather is not None else ("no-weather",)
    return SiteTrend(columns.site, reference, now, INTERVAL_LEVEL, trends, found)


def _no_weather() -> WeatherColumns:
    nothing = np.zeros(0, np.int64)
    return WeatherColumns(nothing, nothing, np.zeros(0))


def _sound(check: SensorCheck) -> bool:
    return check.verdict in (Sensor.GOOD, Sensor.NO_LEVEL)


def _on_grid(
    columns: SiteColumns, weather: WeatherColumns, reference: Period, now: Period, span: Period
) -> _Site:
    grid = site_hours(weather, span.from_us, span.to_us)
    earlier = places(grid, reference)
    later = places(grid, now) & ~earlier
    raw = {name: current_hours(rows, grid) for name, rows in columns.insulators.items()}
    levels = {name: dry_level_ma(one, grid, earlier) for name, one in raw.items()}
    silent = {name: silent_hours(one, levels[name]) for name, one in raw.items()}
    outage = outage_hours(silent, raw) if raw else np.zeros(grid.count, dtype=np.bool_)
    currents = {
        name: replace(one, current_ma=np.where(silent[name], np.nan, one.current_ma))
        for name, one in raw.items()
    }
    wet = wet_hours(grid.rh_pct, grid.rain_mm)
    return _Site(grid, currents, silent, outage, levels, earlier, later, wet)


def _among_equals(
    responses: Mapping[str, Response], register: Mapping[str, RegisterEntry]
) -> dict[str, Move]:
    """Moves judged among siblings of one type and stress where there are some, else of the site."""
    kinds: dict[tuple[SurfaceType, str], dict[str, Response]] = {}
    for name, one in responses.items():
        entry = register.get(name, RegisterEntry())
        kinds.setdefault((entry.type, entry.stress), {})[name] = one
    found = moves(responses, INTERVAL_LEVEL)
    for members in kinds.values():
        fitted = [name for name in members if name in found]
        if 2 < len(fitted) < len(found):
            among = moves(members, INTERVAL_LEVEL)
            for name in fitted:
                found[name] = replace(
                    found[name],
                    steps=among[name].steps if found[name].stepped else Pattern.STILL,
                    shifts=among[name].shifts if found[name].shifted else Pattern.STILL,
                )
    return found


def _one(
    site: _Site,
    name: str,
    response: Response,
    move: Move | None,
    check: SensorCheck,
    entry: RegisterEntry | None,
    maintenance: Sequence[MaintenanceRow],
    span: Period,
    damaged: bool,
) -> InsulatorTrend:
    current = site.currents[name]
    good = site.wet & np.isfinite(current.current_ma)
    wash = wash_effect(site.grid, current, maintenance, name, span, INTERVAL_LEVEL)
    rule = judged(_evidence(site, current, move, check, name, maintenance))
    wet_now = int(np.sum(site.wet & site.later))
    good_share = int(np.sum(good & site.later)) / wet_now if wet_now else None
    case = Case(
        data=_data(good_share, response),
        changed=rule.changed,
        cause=rule.cause,
        way=_way(0.0 if move is None else move.step),
        type=SurfaceType.UNKNOWN if entry is None else entry.type,
        washed=None if wash is None else wash.verdict,
        damage=damaged,
    )
    advice = advised(case)
    shown = move if rule.cause is not Cause.SENSOR else None
    return InsulatorTrend(
        insulator=name,
        index_ratio=None if shown is None else float(np.exp(shown.step)),
        index_ratio_low=None if shown is None else float(np.exp(shown.step_low)),
        index_ratio_high=None if shown is None else float(np.exp(shown.step_high)),
        index_reference_ma=response.index_reference_ma,
        onset_rh_reference=response.onset_reference_pct,
        onset_rh_now=response.onset_now_pct if shown is not None else None,
        wet_hours_reference=int(np.sum(good & site.earlier)),
        wet_hours_now=int(np.sum(good & site.later)),
        good_share=good_share,
        changed=rule.changed,
        changed_us=change_us(response) if rule.changed else None,
        cause=rule.cause,
        rule=rule,
        advice=advice,
        reasons=reasons_for(rule, advice, case.data, response, move, check, good_share, wash),
        wash=wash if _sound(check) or wash is None else _untold(wash),
        move=move,
        sensor=check,
        clock=recovery_clock(site.grid, response, INTERVAL_LEVEL),
        response=response,
        found=current.found.said,
    )


def _way(log_size: float) -> Way:
    return Way.DOWN if log_size < 0 else Way.UP


def _untold(wash: WashEffect) -> WashEffect:
    """A sensor that cannot be believed says nothing of a wash."""
    return replace(wash, ratio=None, low=None, high=None, verdict=Verdict.NOT_ENOUGH)


def _data(good_share: float | None, response: Response) -> Data:
    if response.fit is None or response.nights_reference < BASELINE_NIGHTS:
        return Data.LEARNING
    if good_share is None or good_share < GOOD_SHARE_LEAST:
        return Data.POOR
    return Data.GOOD


def _evidence(
    site: _Site,
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
        compared=move is not None,
        steps=Pattern.STILL if move is None else move.steps,
        way=_way(0.0 if move is None else move.step),
        shifts=Pattern.STILL if move is None else move.shifts,
        shift_way=_way(0.0 if move is None else move.shift_pct),
        either=move is not None and move.either,
        recovery=recovery,
        explained=_explained(site, name, maintenance),
        probe_moved=_probe_moved(site),
    )


def _explained(site: _Site, name: str, maintenance: Sequence[MaintenanceRow]) -> bool:
    """Whether somebody washed, coated or renewed this insulator between the periods' ends."""
    work = actions_for(maintenance, name, *BETTER_ALONE)
    inside = (site.grid.place(one.start_us) for one in work)
    return any(0 < place < site.grid.count for place in inside)


def _probe_moved(site: _Site) -> bool:
    """Whether the highest readings, in fog if there was any, moved between the periods."""
    ceilings = []
    for chosen in (site.earlier, site.later):
        known = site.grid.rh_pct[chosen & np.isfinite(site.grid.rh_pct)]
        ceilings.append(float(np.quantile(known, FOG_QUANTILE)) if known.size else np.nan)
    return max(ceilings) >= FOG_READS_PCT and abs(ceilings[0] - ceilings[1]) >= FOG_MOVED_PCT
