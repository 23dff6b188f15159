"""What the night does, as lines: a fold over what the gateway's API says. Pure."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.quantities import State
from edge.records import Condition
from gateway.alarms.journal import Entry, Point, What
from gateway.alarms.memory import SITE_POINT
from gateway.alarms.messages import rationale
from gateway.console.picture import InsulatorTold, SiteTold, UnitTold
from gateway.demo.sky import sky_text, turned, weather_word

WIDTH = 80
INDENT = 22

TEXTS = {definition.id.value: definition.text for definition in DEFAULT_ALARMS}

ARCING = (State.ARCING_SPARSE, State.ARCING_DENSE)


@dataclass(frozen=True, slots=True)
class Seen:
    """One look at the API. news: what the alarm lists have written since the last one, by site."""

    now_us: int
    sites: tuple[SiteTold, ...]
    units: tuple[UnitTold, ...]
    insulators: tuple[InsulatorTold, ...]
    news: tuple[tuple[str, Entry], ...]


@dataclass(frozen=True, slots=True)
class Watch:
    """What was told already. weather: by site, what it did last, what it may be turning to, and
    the row that said so. surfaces: (insulator or site, state) that were told. called: alarms
    that were announced and are not over, by site. held: (site, reason) told for conditions that
    cannot be said. worst_age_us: oldest that the newest data of a unit ever were."""

    weather: Mapping[str, tuple[str, str, int]] = field(default_factory=dict)
    surfaces: frozenset[tuple[str, State]] = frozenset()
    called: frozenset[tuple[str, Point]] = frozenset()
    held: frozenset[tuple[str, str]] = frozenset()
    worst_age_us: int = 0


Lines = list[tuple[int, str]]
"""Each with its time."""


def watched(watch: Watch, seen: Seen, faces: Mapping[str, float]) -> tuple[Watch, list[str]]:
    """The lines that a look adds. faces: bearing of the open sea by site [deg]."""
    weather, lines = _weather_told(watch, seen.sites, faces)
    surfaces, more = _surfaces_told(watch, seen.insulators)
    called, held, yet_more = _news_told(watch, seen.news)
    ages = [unit.data_age_us or 0 for unit in seen.units]
    after = Watch(weather, surfaces, called, held, max([watch.worst_age_us, *ages]))
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


def _news_told(
    watch: Watch, news: Iterable[tuple[str, Entry]]
) -> tuple[frozenset[tuple[str, Point]], frozenset[tuple[str, str]], Lines]:
    called, held, lines = set(watch.called), set(watch.held), []
    for site, entry in news:
        alarm = (site, entry.point)
        said = None if entry.change is None else entry.change.condition
        if entry.what is What.ANNOUNCED:
            called.add(alarm)
            lines.append((entry.at_us, _call(site, entry)))
        elif said is Condition.OUT and alarm in called:
            called.discard(alarm)
            lines.append((entry.at_us, f"{site:<14} over: {_what(site, entry.point)}"))
        elif said is Condition.UNKNOWN and (topic := (site, _why(entry))) not in held:
            held.add(topic)
            lines.append((entry.at_us, f"{site:<14} alarms are held as they were: {topic[1]}"))
    return frozenset(called), frozenset(held), lines


SURFACES = {
    State.WET: "a wet film conducts",
    State.ARCING_SPARSE: "a dry band arcs",
    State.ARCING_DENSE: "arcs densely",
    State.DE_ENERGISED: "no voltage: the line is dead",
    State.UNKNOWN: "cannot be told",
}
"""States worth a line when an insulator is first in them; a dead line is told once a site."""


def _call(site: str, entry: Entry) -> str:
    head = f"{site:<14} ALARM P{entry.priority} {_what(site, entry.point)}"
    if entry.point != SITE_POINT:
        return head
    counts = entry.counts
    worst = ", ".join(entry.named)
    return f"{head}: {counts['arcing']} of {counts['installed']}, worst {worst}; it speaks for all"


def _what(site: str, point: Point) -> str:
    """What an alarm is about, and its text."""
    place = point.subject or ("the unit itself" if point.unit else "the site")
    return f"{place}: {rationale(point.alarm).text}"


def _why(entry: Entry) -> str:
    return entry.change.reason if entry.change and entry.change.reason else "data lost"


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
