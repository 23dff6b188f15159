"""What the night does, as lines: a fold over what the gateway's API says. Pure.

Weather and surfaces are told from the records that have come, not from the plan of the night.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.quantities import State
from edge.records import Condition, WeatherRow
from gateway.console.picture import ConditionTold, InsulatorTold, SiteTold, UnitTold

WIDTH = 80
INDENT = 22

TEXTS = {definition.id.value: definition.text for definition in DEFAULT_ALARMS}

ARCING = (State.ARCING_SPARSE, State.ARCING_DENSE)

RAIN_UM, DRIZZLE_UM = 42, 5
"""Rain in a minute that washes (2.5 mm/h), and that only wets [um]. Common practice puts the bound
between light and moderate rain at 2.5 mm/h."""
FOG_CPCT, DAMP_CPCT = 9_500, 7_500
SALT_WIND_MM_S = 7_000
"""Onshore wind that brings spray (design choice)."""


@dataclass(frozen=True, slots=True)
class Seen:
    """One look at the API."""

    now_us: int
    sites: tuple[SiteTold, ...]
    units: tuple[UnitTold, ...]
    insulators: tuple[InsulatorTold, ...]
    conditions: tuple[ConditionTold, ...]


@dataclass(frozen=True, slots=True)
class Watch:
    """What was told already. weather: by site, what it did last, what it may be turning to, and
    the row that said so. surfaces: (insulator, state) that were told. told: conditions by
    (unit, alarm, subject). worst_age_us: oldest that the newest data of a unit ever were."""

    weather: Mapping[str, tuple[str, str, int]] = field(default_factory=dict)
    surfaces: frozenset[tuple[str, State]] = frozenset()
    told: Mapping[tuple[str, str, str], Condition] = field(default_factory=dict)
    worst_age_us: int = 0


def watched(watch: Watch, seen: Seen, faces: Mapping[str, float]) -> tuple[Watch, list[str]]:
    """The lines that a look adds. faces: bearing of the open sea by site [deg]."""
    lines: list[tuple[int, str]] = []
    weather = dict(watch.weather)
    for site in seen.sites:
        if site.weather is not None:
            row = site.weather
            turned = _turned(weather.get(site.site), weather_word(row, faces[site.site]), row)
            if turned[0] != weather.get(site.site, ("",))[0]:
                lines.append((row.start_us, f"{site.site:<14} {_sky(turned[0], row)}"))
            weather[site.site] = turned
    fresh = [one for one in seen.insulators if _is_news(one, watch)]
    for one in fresh:
        assert one.row is not None
        lines.append((one.row.start_us, _surface(one)))
    surfaces = watch.surfaces | {(one.insulator, one.row.state) for one in fresh if one.row}
    told = dict(watch.told)
    for condition in seen.conditions:
        change = condition.change
        key = (condition.unit, change.alarm, change.subject)
        if told.get(key, Condition.OUT) is not change.condition:
            lines.append((change.at_us, _alarm(condition)))
        told[key] = change.condition
    ages = [unit.data_age_us or 0 for unit in seen.units]
    after = replace(watch, weather=weather, surfaces=surfaces, told=told)
    after = replace(after, worst_age_us=max([watch.worst_age_us, *ages]))
    return after, [one for at_us, line in sorted(lines) for one in stamped(at_us, line)]


def _is_news(one: InsulatorTold, watch: Watch) -> bool:
    return (
        one.row is not None
        and one.row.state in SURFACES
        and (one.insulator, one.row.state) not in watch.surfaces
    )


def _turned(
    before: tuple[str, str, int] | None, word: str, row: WeatherRow
) -> tuple[str, str, int]:
    """The weather told after a row: a turn is believed once a second row says the same."""
    if before is None:
        return word, word, row.start_us
    told, turning, at_us = before
    if word == turning and row.start_us != at_us:
        return word, word, row.start_us
    return told, word, (at_us if word == turning else row.start_us)


def weather_word(row: WeatherRow, faces_deg: float) -> str:
    """What the weather does by one row."""
    rain_um, humid_cpct = row.rain_um or 0, row.rh_cpct or 0
    if rain_um >= RAIN_UM:
        return "rain"
    if rain_um >= DRIZZLE_UM:
        return "drizzle"
    if humid_cpct >= FOG_CPCT:
        return "fog"
    if onshore_mm_s(row, faces_deg) >= SALT_WIND_MM_S:
        return "salt wind"
    return "damp air" if humid_cpct >= DAMP_CPCT else "dry air"


def onshore_mm_s(row: WeatherRow, faces_deg: float) -> float:
    """The wind straight off the sea."""
    turn = math.radians((row.wind_from_cdeg or 0) / 100 - faces_deg)
    return (row.wind_mm_s or 0) * math.cos(turn)


MEANINGS = {
    "rain": "washes salt off",
    "drizzle": "wets the salt",
    "fog": "salt dissolves, films form",
    "salt wind": "salt settles",
    "damp air": "salt takes up water",
    "dry air": "surfaces dry",
}


def _sky(word: str, row: WeatherRow) -> str:
    rain = f" {(row.rain_um or 0) * 60 / 1000:.1f} mm/h" if word in ("rain", "drizzle") else ""
    humid, wind = (row.rh_cpct or 0) / 100, (row.wind_mm_s or 0) / 1000
    return f"{word}{rain}, {humid:.0f} % humid, wind {wind:.0f} m/s: {MEANINGS[word]}"


SURFACES = {
    State.WET: "a wet film conducts",
    State.ARCING_SPARSE: "a dry band arcs",
    State.ARCING_DENSE: "arcs densely",
    State.DE_ENERGISED: "no voltage, the line is dead",
    State.UNKNOWN: "cannot be told",
}
"""States worth a line when an insulator is first in them."""


def _surface(one: InsulatorTold) -> str:
    assert one.row is not None
    peak_ua = one.row.arcing_peak_ua
    peak = f", {peak_ua / 1000:.0f} mA at most" if peak_ua else ""
    return f"{one.site:<14} {one.insulator}: {SURFACES[one.row.state]}{peak}"


def _alarm(told: ConditionTold) -> str:
    change = told.change
    text, place = TEXTS.get(change.alarm, change.alarm), change.subject or "the unit itself"
    if change.condition is Condition.IN:
        return f"{told.site:<14} ALARM P{change.priority} {place}: {text}"
    if change.condition is Condition.OUT:
        return f"{told.site:<14} over: {place}: {text}"
    return f"{told.site:<14} held, {change.reason or 'data lost'}: {place}: {text}"


def stamped(at_us: int, line: str) -> list[str]:
    """A line with its time, within the width."""
    later = " " * INDENT
    return textwrap.wrap(
        f"{clock_text(at_us)}  {line}", WIDTH, subsequent_indent=later, break_on_hyphens=False
    )


def clock_text(at_us: int) -> str:
    """Hours and minutes of the night."""
    return datetime.fromtimestamp(at_us / 1e6, UTC).strftime("%H:%M")


def progress(watch: Watch, seen: Seen, begin_us: int, end_us: int) -> str:
    """One line for a terminal: time, share of the night, what each site does."""
    share = min(max((seen.now_us - begin_us) / (end_us - begin_us), 0.0), 1.0)
    parts = [_site_now(site, watch, seen.insulators) for site in seen.sites]
    now = min(max(seen.now_us, begin_us), end_us)
    return f"{clock_text(now)} {share:4.0%}  {'; '.join(parts)}"[: WIDTH - 1]


def _site_now(site: SiteTold, watch: Watch, insulators: Iterable[InsulatorTold]) -> str:
    own = [one for one in insulators if one.site == site.site and one.row is not None]
    arcing = sum(one.row is not None and one.row.state in ARCING for one in own)
    word = watch.weather.get(site.site, ("no data yet",))[0]
    return f"{site.site} {arcing}/{site.insulators} arc, {word}"
