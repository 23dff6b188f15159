"""How well the alarms serve the people who get them: figures for each operating position.

The figures and the targets beside them are common practice of alarm management (as recalled, and
from secondary texts); they say nothing on whether an alarm was right. Windows are of wall-clock
time and empty ones count. Under 30 days of journal the figures are shown, and said to rest on too
little.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from edge.records import Condition
from gateway.alarms.journal import Entry, What

WINDOW_US = 600_000_000
"""Ten minutes, on the clock."""

FLOOD_ON = 10
"""More announcements than this in a window begin a flood."""

FLOOD_OFF = 5
"""Fewer than this in a window end it."""

CHATTER_COUNT, CHATTER_US = 3, 60_000_000
"""So many times in within this time is chattering; the number is a working rule."""

FLEETING_US = 10_000_000
"""In and out again within this, and not chattering, is fleeting. Design choice."""

STALE_US = 86_400_000_000
"""An alarm that stands longer is stale."""

TOP = 10

ENOUGH_US = 30 * 86_400_000_000
"""Figures of a shorter time are marked as resting on too little."""

TARGETS: dict[str, str] = {
    "per_window": "about 1 in ten minutes; 2 is the most that can be handled, not a target",
    "flood_ppm": "under 10000 (1 % of the time)",
    "over_ten_ppm": "under 10000 (1 % of the windows)",
    "top_ten_ppm": "10000 to 50000 (1 to 5 %)",
    "chattering": "0",
    "fleeting": "0",
    "stale": "under 5 on any day, each with a plan",
    "priorities": "about 5 % of priority 1, 15 % of 2, 80 % of 3",
}
"""Common practice, for people to compare with; nothing is judged by it."""

SiteEntry = tuple[str, Entry]
"""A site and one entry of its journal."""

Source = tuple[str, str, str, str]
"""Site, unit, alarm, subject."""


@dataclass(frozen=True, slots=True)
class SourceFigures:
    """One alarm within the time. longest_*: of one occurrence."""

    site: str
    unit: str
    alarm: str
    subject: str
    announced: int
    longest_active_us: int
    longest_unacknowledged_us: int


@dataclass(frozen=True, slots=True)
class Figures:
    """Of one operating position over [from_us, to_us).

    per_window_ppm: mean announcements in ten minutes, in millionths. over_ten_ppm: share of windows
    with more than ten. flood_ppm: share of windows in flood. top_ten_ppm: share of the ten most
    frequent. stale: alarms that stood longer than a day at some time. priorities: announcements by
    priority, from 1. shelved, taken_out: by people.
    """

    position: str
    from_us: int
    to_us: int
    enough: bool
    windows: int
    announced: int
    sounds: int
    per_window_ppm: int
    most_in_window: int
    over_ten_ppm: int
    floods: int
    flood_ppm: int
    top_ten_ppm: int
    chattering: int
    fleeting: int
    stale: int
    priorities: tuple[int, int, int]
    shelved: int
    taken_out: int
    top: tuple[SourceFigures, ...] = field(default_factory=tuple)


@dataclass(slots=True)
class _Occurrences:
    """Of one source: when it went in, and for how long it stood and waited."""

    ins: list[int] = field(default_factory=list)
    stood: list[tuple[int, int]] = field(default_factory=list)
    waited: list[int] = field(default_factory=list)


def figures(
    entries: Iterable[SiteEntry],
    from_us: int,
    to_us: int,
    position_of: Mapping[str, str] | None = None,
) -> tuple[Figures, ...]:
    """The figures of each operating position.

    entries: of each site in order, from before `from_us` on where an alarm may still have stood.
    position_of: position by site; without it, all sites belong to one.
    """
    positions = {"all"} if position_of is None else set(position_of.values())
    by_position: dict[str, list[SiteEntry]] = defaultdict(list, {one: [] for one in positions})
    for site, entry in entries:
        position = "all" if position_of is None else position_of.get(site, "unassigned")
        by_position[position].append((site, entry))
    return tuple(
        _figures(position, by_position[position], from_us, to_us)
        for position in sorted(by_position)
    )


def _figures(position: str, told: Sequence[SiteEntry], from_us: int, to_us: int) -> Figures:
    within = [(site, one) for site, one in told if from_us <= one.at_us < to_us]
    calls = [(site, one) for site, one in within if one.what is What.ANNOUNCED]
    counts = window_counts([one.at_us for _, one in calls], from_us, to_us)
    flooded, floods = flood_windows(counts)
    sources = _occurrences(told, from_us, to_us)
    chattering = {source for source, one in sources.items() if _chatters(one.ins)}
    top = Counter(_source(site, one) for site, one in calls).most_common(TOP)
    kinds = Counter(one.what for _, one in within)
    return Figures(
        position=position,
        from_us=from_us,
        to_us=to_us,
        enough=to_us - from_us >= ENOUGH_US,
        windows=len(counts),
        announced=len(calls),
        sounds=sum(one.sound for _, one in calls),
        per_window_ppm=_ppm(len(calls), len(counts)),
        most_in_window=max(counts, default=0),
        over_ten_ppm=_ppm(sum(count > FLOOD_ON for count in counts), len(counts)),
        floods=floods,
        flood_ppm=_ppm(flooded, len(counts)),
        top_ten_ppm=_ppm(sum(count for _, count in top), len(calls)),
        chattering=len(chattering),
        fleeting=_fleeting(sources, chattering),
        stale=sum(_is_stale(one) for one in sources.values()),
        priorities=_split(calls),
        shelved=kinds[What.SHELVED],
        taken_out=kinds[What.TAKEN_OUT],
        top=tuple(_top(source, count, sources) for source, count in top),
    )


def window_counts(times_us: Iterable[int], from_us: int, to_us: int) -> list[int]:
    """Announcements in each ten minutes of wall-clock time, the empty ones too."""
    first = from_us // WINDOW_US
    counts = [0] * max(0, -(-to_us // WINDOW_US) - first)
    for time_us in times_us:
        counts[time_us // WINDOW_US - first] += 1
    return counts


def flood_windows(counts: Sequence[int]) -> tuple[int, int]:
    """Windows in flood, and floods: from more than ten on, until fewer than five come."""
    inside, flooded, floods = False, 0, 0
    for count in counts:
        if not inside and count > FLOOD_ON:
            inside, floods = True, floods + 1
        elif inside and count < FLOOD_OFF:
            inside = False
        flooded += inside
    return flooded, floods


def _source(site: str, entry: Entry) -> Source:
    return (site, entry.point.unit, entry.point.alarm, entry.point.subject)


def _occurrences(told: Sequence[SiteEntry], from_us: int, to_us: int) -> dict[Source, _Occurrences]:
    """Walks each alarm from in to out, and from the call to the acknowledgement."""
    found: dict[Source, _Occurrences] = defaultdict(_Occurrences)
    since: dict[Source, int] = {}
    called: dict[Source, int] = {}
    for site, entry in told:
        if entry.at_us >= to_us:
            continue
        source = _source(site, entry)
        change = entry.change
        if change is not None and change.condition is Condition.IN and source not in since:
            since[source] = change.at_us
            if change.at_us >= from_us:
                found[source].ins.append(change.at_us)
        elif change is not None and change.condition is Condition.OUT and source in since:
            found[source].stood.append((since.pop(source), change.at_us))
        elif entry.what is What.ANNOUNCED:
            called.setdefault(source, entry.at_us)
        elif entry.what is What.ACKNOWLEDGED and source in called:
            found[source].waited.append(entry.at_us - called.pop(source))
    for source, start_us in since.items():
        found[source].stood.append((start_us, to_us))
    for source, start_us in called.items():
        found[source].waited.append(to_us - start_us)
    for one in found.values():
        one.stood = [(start_us, end_us) for start_us, end_us in one.stood if end_us >= from_us]
    return found


def _chatters(ins_us: Sequence[int]) -> bool:
    apart = CHATTER_COUNT - 1
    return any(
        later - earlier <= CHATTER_US
        for earlier, later in zip(ins_us, ins_us[apart:], strict=False)
    )


def _fleeting(sources: Mapping[Source, _Occurrences], chattering: set[Source]) -> int:
    return sum(
        end_us - start_us <= FLEETING_US
        for source, one in sources.items()
        if source not in chattering
        for start_us, end_us in one.stood
    )


def _is_stale(one: _Occurrences) -> bool:
    return any(end_us - start_us > STALE_US for start_us, end_us in one.stood)


def _split(calls: Sequence[SiteEntry]) -> tuple[int, int, int]:
    split = Counter(one.priority for _, one in calls)
    return split[1], split[2], split[3]


def _top(source: Source, count: int, sources: Mapping[Source, _Occurrences]) -> SourceFigures:
    one = sources.get(source, _Occurrences())
    longest_us = max((end_us - start_us for start_us, end_us in one.stood), default=0)
    return SourceFigures(*source, count, longest_us, max(one.waited, default=0))


def _ppm(part: int, whole: int) -> int:
    return round(part * 1_000_000 / whole) if whole else 0
