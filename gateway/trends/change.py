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
from gateway.trends.causes import Cause, Rule, judged
from gateway.trends.changepoint import change_us
from gateway.trends.columns import (
    MaintenanceRow,
    Period,
    RegisterEntry,
    Seen,
    SiteColumns,
    SurfaceType,
    WeatherColumns,
)
from gateway.trends.evidence import Site, compared, evidence_for, on_grid, way_of
from gateway.trends.hours import CurrentHours
from gateway.trends.moves import Move, Pattern, moves
from gateway.trends.probe import ProbeCheck
from gateway.trends.reasons import Grounds, reasons_for
from gateway.trends.recovery import ClockBand, recovery_clock
from gateway.trends.response import Response
from gateway.trends.sensor import Sensor, SensorCheck, check_sensor
from gateway.trends.standing import Standing, standing_of
from gateway.trends.wash import Verdict, WashEffect, wash_effect

INTERVAL_LEVEL = 0.90
_UNTOLD = (Cause.SENSOR, Cause.PROBE)
_UNTOLD_BY = ("not-compared", "reading-or-surfaces")
"""A current or a humidity that cannot be believed gives no ratio at equal wetness."""


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
    standing: Standing
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


def compare_periods(
    columns: SiteColumns,
    weather: WeatherColumns | None,
    register: Mapping[str, RegisterEntry],
    reference: Period,
    now: Period,
    maintenance: Sequence[MaintenanceRow] = (),
    damaged: frozenset[str] = frozenset(),
    seen: Mapping[str, Seen] | None = None,
) -> SiteTrend:
    """Everything said of the change of a site between two periods.

    damaged: insulators on which an inspection found erosion or tracking that is not light.
    seen: what people last saw, by insulator; it goes before `damaged`.
    """
    given = (columns, weather, register, reference, now, maintenance, damaged, seen)
    return compare_with_site(*given)[0]


def compare_with_site(
    columns: SiteColumns,
    weather: WeatherColumns | None,
    register: Mapping[str, RegisterEntry],
    reference: Period,
    now: Period,
    maintenance: Sequence[MaintenanceRow] = (),
    damaged: frozenset[str] = frozenset(),
    seen: Mapping[str, Seen] | None = None,
) -> tuple[SiteTrend, Site]:
    """As `compare_periods`, with the hourly grid behind it for those who draw."""
    visits = {name: Seen(damage=True, text="damage seen") for name in damaged} | dict(seen or {})
    span = Period(min(reference.from_us, now.from_us), max(reference.to_us, now.to_us))
    site = on_grid(columns, weather or _no_weather(), reference, now, span)
    site, responses, probe = compared(site)
    checks = {
        name: check_sensor(
            current, site.grid, site.tests[name], site.silent[name], site.outage, site.later
        )
        for name, current in site.currents.items()
    }
    sound = {name: one for name, one in responses.items() if _sound(checks[name])}
    moved = _among_equals(sound, register)
    believed = {name: site.currents[name] for name in sound}
    unknown = RegisterEntry()
    trends = []
    for name in sorted(columns.insulators):
        told = (site, name, responses[name], moved.get(name), checks[name])
        work = (register.get(name, unknown), maintenance, visits.get(name, Seen()), believed, probe)
        trends.append(_one(*told, _judged(*told, *work)))
    found = site.grid.found.said if weather is not None else ("no-weather",)
    return SiteTrend(columns.site, reference, now, INTERVAL_LEVEL, tuple(trends), found), site


def _no_weather() -> WeatherColumns:
    nothing = np.zeros(0, np.int64)
    return WeatherColumns(nothing, nothing, np.zeros(0))


def _sound(check: SensorCheck) -> bool:
    return check.verdict in (Sensor.GOOD, Sensor.NO_LEVEL)


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


@dataclass(frozen=True, slots=True)
class _Judged:
    """What was concluded of one insulator before it is put into words."""

    rule: Rule
    advice: Advice
    quality: Data
    good_share: float | None
    wash: WashEffect | None
    standing: Standing
    seen: str


def _one(
    site: Site,
    name: str,
    response: Response,
    move: Move | None,
    check: SensorCheck,
    judgement: _Judged,
) -> InsulatorTrend:
    current, rule, wash = site.currents[name], judgement.rule, judgement.wash
    good = site.wet & np.isfinite(current.current_ma)
    shown = None if rule.cause in _UNTOLD or rule.name in _UNTOLD_BY else move
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
        good_share=judgement.good_share,
        changed=rule.changed,
        changed_us=change_us(response) if rule.changed else None,
        cause=rule.cause,
        rule=rule,
        advice=judgement.advice,
        reasons=reasons_for(
            Grounds(
                rule, judgement.advice, judgement.quality, response, move, check,
                judgement.good_share, wash, judgement.standing, judgement.seen,
            )
        ),
        wash=wash if _sound(check) or wash is None else _untold(wash),
        move=move,
        sensor=check,
        clock=recovery_clock(site.grid, response, INTERVAL_LEVEL),
        response=response,
        standing=judgement.standing,
        found=current.found.said,
    )  # fmt: skip


def _judged(
    site: Site,
    name: str,
    response: Response,
    move: Move | None,
    check: SensorCheck,
    entry: RegisterEntry,
    maintenance: Sequence[MaintenanceRow],
    seen: Seen,
    siblings: Mapping[str, CurrentHours],
    probe: ProbeCheck,
) -> _Judged:
    current = site.currents[name]
    wash = wash_effect(site.grid, current, maintenance, name, site.span, INTERVAL_LEVEL, siblings)
    rule = judged(evidence_for(site, current, move, check, name, maintenance, probe))
    wet_now = int(np.sum(site.wet & site.later))
    good_now = int(np.sum(site.wet & site.later & np.isfinite(current.current_ma)))
    good_share = good_now / wet_now if wet_now else None
    standing = standing_of(site.grid, current, site.wet, site.later, entry)
    case = Case(
        data=_quality(good_share, response),
        changed=rule.changed,
        cause=rule.cause,
        way=way_of(0.0 if move is None else move.step),
        type=entry.type,
        washed=None if wash is None else wash.verdict,
        damage=seen.damage,
        near=standing.near,
        heavy=standing.heavy,
        wettable=seen.wettable,
    )
    return _Judged(rule, advised(case), case.data, good_share, wash, standing, seen.text)


def _untold(wash: WashEffect) -> WashEffect:
    """A sensor that cannot be believed says nothing of a wash."""
    return replace(wash, ratio=None, low=None, high=None, verdict=Verdict.NOT_ENOUGH)


def _quality(good_share: float | None, response: Response) -> Data:
    if response.fit is None or response.nights_reference < BASELINE_NIGHTS:
        return Data.LEARNING
    if good_share is None or good_share < GOOD_SHARE_LEAST:
        return Data.POOR
    return Data.GOOD
