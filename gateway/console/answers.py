"""What people answered to alarms, as labels that `seafret score --labels` reads.

An answer says what was the case while the alarm stood; it never changes the data. The time that
nobody labels counts as 'nothing happened', so 'nothing seen' is a label of what was around (noise),
under which an alarm counts as false.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from edge.records import Condition
from gateway.alarms.actions import Answer
from gateway.alarms.journal import Entry, Point, What
from gateway.replay.labels import COLUMNS, Kind

VERSION = "operator answers 1"

KIND_OF: dict[Answer, Kind] = {
    Answer.SEEN_ARCING: Kind.ARCING,
    Answer.NOTHING_SEEN: Kind.NOISE,
    Answer.WASHING: Kind.WASH,
    Answer.OUTAGE: Kind.SWITCHING,
}

CONFIDENCE: dict[Answer, str] = {
    Answer.SEEN_ARCING: "0.9",
    Answer.NOTHING_SEEN: "0.5",
    Answer.WASHING: "0.9",
    Answer.OUTAGE: "0.9",
}
"""What an eye in the dark is worth: arcs that are seen are there, arcs that are not may be, too."""

HEADER = (*COLUMNS, "note")


@dataclass(frozen=True, slots=True)
class AnswerLabel:
    """One answer. end_us: when the alarm went out, or the answer where it still stands."""

    site: str
    start_us: int
    end_us: int
    subject: str
    kind: Kind
    confidence: str
    who: str
    note: str


@dataclass(slots=True)
class _Open:
    since_us: int
    out_us: int = 0


def answer_labels(site: str, entries: Iterable[Entry]) -> list[AnswerLabel]:
    """The labels of a site's journal, read from its beginning. A second answer of one person to
    one occurrence replaces the first."""
    spans: dict[int, _Open] = {}
    last: dict[Point, int] = {}
    told: dict[tuple[int, str], Entry] = {}
    for entry in entries:
        if entry.what is What.HEARD and entry.change is not None and entry.occurrence:
            if entry.change.condition is Condition.IN:
                spans.setdefault(entry.occurrence, _Open(entry.change.since_us))
                last[entry.point] = entry.occurrence
            elif entry.change.condition is Condition.OUT and entry.point in last:
                spans[last[entry.point]].out_us = entry.change.at_us
        elif entry.what is What.ANSWERED:
            told[entry.occurrence, entry.who] = entry
    return sorted(_labels(site, told.values(), spans), key=lambda one: (one.start_us, one.subject))


def _labels(site: str, told: Iterable[Entry], spans: dict[int, _Open]) -> Iterator[AnswerLabel]:
    for entry in told:
        answer = Answer(entry.label)
        span = spans.get(entry.occurrence, _Open(entry.at_us))
        end_us = max(span.out_us or entry.at_us, span.since_us + 1)
        note = " ".join(part for part in (answer.value, entry.reason) if part)
        yield AnswerLabel(
            site, span.since_us, end_us, entry.point.subject, KIND_OF[answer],
            CONFIDENCE[answer], entry.who, note,
        )  # fmt: skip
