"""Alarms against labels, event by event. No figure here credits one hit to many samples.

An event is a label, or labels of one kind and subject that follow one another within the join: a
wet night is one event. An alarm tells an event when it *begins* within the event's window, from
`before` its start to `after` its end; an alarm that merely stood already tells nothing new. An
alarm that tells no event is false, unless it begins in time that is labelled unknown or test.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from edge.decide.definitions import Alarm
from gateway.replay.labels import EXCLUDED, Kind, Label
from gateway.replay.occurrences import Key, Occurrence
from gateway.replay.watched import Span, cut, holds, joined, shared

_ARCING_ALARMS = (Alarm.ARCING.value, Alarm.NEAR_MARGIN.value, Alarm.FLASHOVER_SUSPECTED.value)

TOLD_BY: dict[Kind, tuple[str, ...]] = {
    Kind.ARCING: _ARCING_ALARMS,
    Kind.FLASHOVER: _ARCING_ALARMS,
    Kind.SENSOR_FAULT: (Alarm.SENSOR_FAILED.value, Alarm.DRY_AIR_CURRENT.value),
}
"""Which alarms are there to tell which kind of event. Design choice."""


@dataclass(frozen=True, slots=True)
class Rules:
    """How it is judged; stated with every result.

    before_us, after_us: an event's window reaches so far. join_us: labels of one kind and subject
    nearer than this are one event. confidence_ppm: events surer than this or as sure are judged.
    kinds: of events. period: what is judged; events and alarms count where they begin.
    """

    before_us: int
    after_us: int
    join_us: int
    confidence_ppm: int
    kinds: tuple[Kind, ...]
    period: Span


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened. lines: of the labels that say so."""

    start_us: int
    end_us: int
    kind: Kind
    subject: str
    confidence_ppm: int
    lines: tuple[int, ...]

    def window(self, rules: Rules) -> Span:
        """Where an alarm must begin to tell it."""
        return self.start_us - rules.before_us, self.end_us + rules.after_us


class Verdict(StrEnum):
    """Of an event."""

    TOLD = "told"
    MISSED = "missed"
    NOT_JUDGED = "not-judged"


@dataclass(frozen=True, slots=True)
class Judged:
    """An event and what came of it.

    first: the first alarm that tells it. alarms: how many do. standing: an alarm that had begun
    before the window and stood at its start. why: of an event that is not judged.
    """

    event: Event
    verdict: Verdict
    first: Occurrence | None = None
    alarms: int = 0
    standing: Occurrence | None = None
    why: str = ""

    @property
    def lead_us(self) -> int | None:
        """How long before the event its first alarm came; negative: late."""
        return None if self.first is None else self.event.start_us - self.first.start_us


@dataclass(frozen=True, slots=True)
class FalseAlarm:
    """An alarm that tells no event. around: kinds of labels in whose time it began."""

    alarm: Occurrence
    around: tuple[Kind, ...]


@dataclass(frozen=True, slots=True)
class Score:
    """Everything that was judged, one by one; figures are made from it in `gateway.replay.figures`.

    true_alarms, false_alarms, left_out: together all alarms of the kinds in the period. watched: of
    each insulator within the period.
    """

    rules: Rules
    judged: tuple[Judged, ...]
    true_alarms: tuple[Occurrence, ...]
    false_alarms: tuple[FalseAlarm, ...]
    left_out: tuple[Occurrence, ...]
    watched: Mapping[str, tuple[Span, ...]]

    def of(self, verdict: Verdict) -> tuple[Judged, ...]:
        """Events of one verdict, in order of time."""
        return tuple(one for one in self.judged if one.verdict is verdict)


def scored(
    alarms: Iterable[Occurrence],
    labels: Sequence[Label],
    watched: Mapping[str, tuple[Span, ...]],
    rules: Rules,
) -> Score:
    """Judges a run. watched: when each insulator was watched, in order, without overlap."""
    within = {name: cut(spans, rules.period) for name, spans in watched.items()}
    names = {name for kind in rules.kinds for name in TOLD_BY[kind]}
    chosen = sorted(
        one for one in alarms if one.alarm in names and _covers("", one.subject, within)
    )
    lookup = _Lookup(chosen)
    events = events_of(labels, rules)
    judged = tuple(_judged(event, lookup, within, rules) for event in events)
    telling: dict[Verdict, set[int]] = {verdict: set() for verdict in Verdict}
    for one in judged:
        telling[one.verdict].update(lookup.telling(one.event, rules))
    true_alarms: list[Occurrence] = []
    false_alarms: list[FalseAlarm] = []
    left_out: list[Occurrence] = []
    for place, alarm in enumerate(chosen):
        if not holds((rules.period,), alarm.start_us):
            continue
        around = _around(alarm, labels)
        if place in telling[Verdict.TOLD]:
            true_alarms.append(alarm)
        elif EXCLUDED.intersection(around) or place in telling[Verdict.NOT_JUDGED]:
            left_out.append(alarm)
        else:
            false_alarms.append(FalseAlarm(alarm, around))
    return Score(rules, judged, tuple(true_alarms), tuple(false_alarms), tuple(left_out), within)


def events_of(labels: Iterable[Label], rules: Rules) -> tuple[Event, ...]:
    """Labels of the kinds, joined, in order of time. A joined event is as sure as its surest."""
    found: list[Event] = []
    last: dict[tuple[Kind, str], int] = {}
    for one in sorted(label for label in labels if label.kind in rules.kinds):
        place = last.get((one.kind, one.subject))
        if place is not None and one.start_us - found[place].end_us < rules.join_us:
            found[place] = _grown(found[place], one)
        else:
            last[one.kind, one.subject] = len(found)
            found.append(_event(one))
    return tuple(found)


def _event(label: Label) -> Event:
    return Event(
        label.start_us,
        label.end_us,
        label.kind,
        label.subject,
        label.confidence_ppm,
        (label.line,),
    )


def _grown(event: Event, label: Label) -> Event:
    return Event(
        event.start_us,
        max(event.end_us, label.end_us),
        event.kind,
        event.subject,
        max(event.confidence_ppm, label.confidence_ppm),
        (*event.lines, label.line),
    )


def _covers(a: str, b: str, watched: Mapping[str, tuple[Span, ...]]) -> bool:
    """Whether two subjects meet: "" is all insulators that are scored."""
    return all(one == "" or one in watched for one in (a, b)) and (a == b or not a or not b)


class _Lookup:
    """Alarms in order of their start, to be found by it."""

    def __init__(self, alarms: Sequence[Occurrence]) -> None:
        self.alarms = alarms
        self._starts = [one.start_us for one in alarms]
        self._by_key: dict[Key, list[Occurrence]] = defaultdict(list)
        for one in alarms:
            self._by_key[one.key].append(one)

    def telling(self, event: Event, rules: Rules) -> list[int]:
        """Places of the alarms that tell an event."""
        start_us, end_us = event.window(rules)
        first, behind = bisect_left(self._starts, start_us), bisect_left(self._starts, end_us)
        return [n for n in range(first, behind) if could_tell(self.alarms[n].key, event)]

    def standing(self, event: Event, rules: Rules) -> Occurrence | None:
        """An alarm that began before an event's window and stood when the event began."""
        from_us = event.window(rules)[0]
        for key, own in self._by_key.items():
            before = bisect_left(own, from_us, key=lambda one: one.start_us)
            last = own[before - 1] if before and could_tell(key, event) else None
            if last is not None and (last.end_us is None or last.end_us > event.start_us):
                return last
        return None


def could_tell(key: Key, event: Event) -> bool:
    """Whether an alarm of a subject is there to tell such an event; "" meets every subject."""
    alarm, subject = key
    return alarm in TOLD_BY[event.kind] and (
        subject == event.subject or not subject or not event.subject
    )


def _judged(
    event: Event, lookup: _Lookup, watched: Mapping[str, tuple[Span, ...]], rules: Rules
) -> Judged:
    why = _not_judged(event, watched, rules)
    if why:
        return Judged(event, Verdict.NOT_JUDGED, why=why)
    telling = lookup.telling(event, rules)
    if telling:
        return Judged(event, Verdict.TOLD, lookup.alarms[telling[0]], len(telling))
    return Judged(event, Verdict.MISSED, standing=lookup.standing(event, rules))


def _not_judged(event: Event, watched: Mapping[str, tuple[Span, ...]], rules: Rules) -> str:
    if not _covers("", event.subject, watched):
        return "its insulator is not scored"
    if not holds((rules.period,), event.start_us):
        return "begins outside the period"
    if event.confidence_ppm < rules.confidence_ppm:
        return "not sure enough"
    seen = joined(
        span
        for name, spans in watched.items()
        if _covers(event.subject, name, watched)
        for span in spans
    )
    return "" if shared(seen, [event.window(rules)]) else "not watched"


def _around(alarm: Occurrence, labels: Sequence[Label]) -> tuple[Kind, ...]:
    found = {
        one.kind
        for one in labels
        if one.kind is not Kind.TUNED_ON
        and one.start_us <= alarm.start_us < one.end_us
        and (one.subject in ("", alarm.subject) or not alarm.subject)
    }
    return tuple(sorted(found))
