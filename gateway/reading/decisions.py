"""Decisions of people written down and read; what was advised, decided, done and found, in order.

For the command line and for the console alike: `write_decision` needs the site's one writer.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from gateway.history.decisions import DecisionReader, DecisionWriter
from gateway.history.loaded import INSPECTION, LoadedRows
from gateway.history.store import PAGE_MAX, JournalLine
from gateway.reading.notes import ALWAYS_US, finding_text, maintenance_rows
from gateway.trends.decided import Decided, decided_line, read_decided


class SiteBook(LoadedRows, DecisionReader, Protocol):
    """Reads both what was loaded and what was decided."""


def decisions_of(reader: DecisionReader, insulator: str | None = None) -> list[Decided]:
    """All decisions of a site, or of one insulator, in order. Raises DecisionFault."""
    found: list[Decided] = []
    after = 0
    while page := reader.decisions(after):
        found += [read_decided(line.body) for line in page]
        after = page[-1].number
    return [one for one in found if insulator in (None, one.insulator)]


def latest_decisions(reader: DecisionReader) -> dict[str, Decided]:
    """The last decision on each insulator."""
    return {one.insulator: one for one in decisions_of(reader)}


def write_decision(reader: DecisionReader, writer: DecisionWriter, decided: Decided) -> int:
    """Writes it down, durable on return; its number. Raises DecisionFault, HistoryFault."""
    line = decided_line(decided)
    last = 0
    while page := reader.decisions(last, PAGE_MAX):
        last = page[-1].number
    writer.append_decisions([JournalLine(last + 1, decided.at_us, line)])
    return last + 1


class Told(StrEnum):
    """What a line of an insulator's story is about."""

    ADVISED = "advised"
    DECIDED = "decided"
    DONE = "done"
    FOUND = "found"


@dataclass(frozen=True, slots=True)
class StoryLine:
    """One line, UTC us."""

    at_us: int
    told: Told
    text: str


def story_of(rows: SiteBook, insulator: str) -> list[StoryLine]:
    """What was advised, decided, done and found on one insulator, in order of time."""
    lines: list[StoryLine] = []
    for one in decisions_of(rows, insulator):
        if one.advised is not None:
            said = f"{one.advised.decision.value}: {'; '.join(one.advised.reasons[:2])}"
            lines.append(StoryLine(one.at_us, Told.ADVISED, said))
        more = "; ".join(text for text in (one.reference, one.note) if text)
        said = f"{one.decision.value} by {one.by}" + (f": {more}" if more else "")
        lines.append(StoryLine(one.at_us, Told.DECIDED, said))
    for done in maintenance_rows(rows):
        if done.insulator in ("", insulator):
            said = done.action.value + (f": {done.note}" if done.note else "")
            lines.append(StoryLine(done.start_us, Told.DONE, said))
    for row in rows.notes(INSPECTION, *ALWAYS_US):
        if row["insulator"] in ("", insulator):
            more = "; ".join(str(row[name]) for name in ("photo", "note") if row[name])
            said = finding_text(row) + (f": {more}" if more else "")
            lines.append(StoryLine(int(row["start_us"] or 0), Told.FOUND, said))
    return sorted(lines, key=lambda one: one.at_us)
