"""What the night does, as lines: a fold over what the gateway's API says. Pure."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.quantities import State
from edge.records import Condition
from gateway.console.picture import ConditionTold, InsulatorTold, SiteTold, UnitTold
from gateway.demo.sky import sky_text, turned, weather_word

WIDTH = 80
INDENT = 22

TEXTS = {definition.id.value: definition.text for definition in DEFAULT_ALARMS}

ARCING = (State.ARCING_SPARSE, State.ARCING_DENSE)


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
    the row that said so. surfaces: (insulator or site, state) that were told. told: conditions by
    (unit, alarm, subject). held: (site, reason) told for conditions that cannot be said.
    worst_age_us: oldest that the newest data of a unit ever were."""

    weather: Mapping[str, tuple[str, str, int]] = field(default_factory=dict)
    surfaces: frozenset[tuple[str, State]] = frozenset()
    told: Mapping[tuple[str, str, str], Condition] = field(default_factory=dict)
    held: frozenset[tuple[str, str]] = frozenset()
    worst_age_us: int = 0


Lines = list[tuple[int, str]]
"""Each with its time."""


def watched(watch: Watch, seen: Seen, faces: Mapping[str, float]) -> tuple[Watch, list[str]]:
    """The lines that a look adds. faces: bearing of the open sea by site [deg]."""
    weather, lines = _weather_told(watch, seen.sites, faces)
    surfaces, more = _surfaces_told(watch, seen.insulators)
    told, held, yet_more = _conditions_told(watch, seen.conditions)
    ages = [unit.data_age_us or 0 for unit in seen.units]
    after = Watch(weather, surfaces, told, held, max([watch.worst_age_us, *ages]))
    lines = sorted([*lines, *more, *yet_more])
    return after, [one for at_us, line in lines for one in stamped(at_us, line)]


def _weather_told(
    watch: Watch, sites: Iterable[SiteTold], faces: Mapping[str, float]
) -> tuple[dict[str, tuple[str, str, int]], Lines]:
    weather, lines = dict(watch.weather), []
    for site in sites:
        if (row := site.weather) is None:
            continue
        before = weather.get(site.site)
        after = turned(before, weather_word(row, faces[site.site]), row)
        if before is None or after[0] != before[0]:
            lines.append((row.start_us, f"{site.site:<14} {sky_text(after[0], row)}"))
        weather[site.site] = after
    return weather, lines


def _surfaces_told(
    watch: Watch, insulators: Iterable[InsulatorTold]
) -> tuple[frozenset[tuple[str, State]], Lines]:
    told, lines = set(watch.surfaces), []
    for one in insulators:
        if (row := one.row) is None or row.state not in SURFACES:
            continue
        dead = row.state is State.DE_ENERGISED
        topic = one.site if dead else one.insulator
        stronger = row.state is State.ARCING_SPARSE and (topic, State.ARCING_DENSE) in told
        if (topic, row.state) not in told and not stronger:
            peak_ua = row.arcing_peak_ua
            peak = f", {peak_ua / 1000:.0f} mA at most" if peak_ua and not dead else ""
            name = "" if dead else f"{one.insulator}: "
            lines.append((row.start_us, f"{one.site:<14} {name}{SURFACES[row.state]}{peak}"))
        told.add((topic, row.state))
    return frozenset(told), lines


def _conditions_told(
    watch: Watch, conditions: Iterable[ConditionTold]
) -> tuple[dict[tuple[str, str, str], Condition], frozenset[tuple[str, str]], Lines]:
    told, held, lines = dict(watch.told), set(watch.held), []
    for one in conditions:
        change = one.change
        key = (one.unit, change.alarm, change.subject)
        before = told.get(key, Condition.OUT)
        told[key] = change.condition
        if before is change.condition:
            continue
        if change.condition is not Condition.UNKNOWN:
            lines.append((change.at_us, _alarm(one)))
        elif (topic := (one.site, change.reason)) not in held:
            held.add(topic)
            lines.append((change.at_us, _held(one)))
    return told, frozenset(held), lines


SURFACES = {
    State.WET: "a wet film conducts",
    State.ARCING_SPARSE: "a dry band arcs",
    State.ARCING_DENSE: "arcs densely",
    State.DE_ENERGISED: "no voltage: the line is dead",
    State.UNKNOWN: "cannot be told",
}
"""States worth a line when an insulator is first in them; a dead line is told once a site."""


def _alarm(told: ConditionTold) -> str:
    change = told.change
    text, place = TEXTS.get(change.alarm, change.alarm), change.subject or "the unit itself"
    word = f"ALARM P{change.priority}" if change.condition is Condition.IN else "over:"
    return f"{told.site:<14} {word} {place}: {text}"


def _held(told: ConditionTold) -> str:
    reason = told.change.reason or "data lost"
    return f"{told.site:<14} alarms are held as they were: {reason}"


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
