"""Journal entries in words a reader understands. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from edge.records import Condition
from gateway.alarms.journal import GATEWAY, Entry, What

WORDS: dict[What, str] = {
    What.HEARD: "condition",
    What.BEGAN_ANEW: "unit's memory began anew",
    What.PASSED_OVER: "other record",
    What.ANNOUNCED: "announced",
    What.RENEWED: "calls again",
    What.COUNTED: "count changed",
    What.SUPPRESSED: "suppressed by design",
    What.REVEALED: "suppression ended",
    What.DIGEST: "digest of a storm",
    What.REMINDED: "reminder",
    What.RESTARTED: "gateway restarted",
    What.ACKNOWLEDGED: "acknowledged",
    What.RESET: "reset",
    What.SHELVED: "shelved",
    What.UNSHELVED: "shelf ended",
    What.TAKEN_OUT: "out of service",
    What.PUT_BACK: "in service again",
    What.ANSWERED: "answered",
    What.OUTAGE_PLANNED: "outage planned",
}

GROUPS: dict[str, frozenset[What]] = {
    "all": frozenset(What) - {What.PASSED_OVER},
    "calls": frozenset({What.ANNOUNCED, What.RENEWED, What.DIGEST}),
    "people": frozenset(
        {
            What.ACKNOWLEDGED, What.RESET, What.SHELVED, What.UNSHELVED, What.TAKEN_OUT,
            What.PUT_BACK, What.ANSWERED, What.OUTAGE_PLANNED,
        }
    ),
    "conditions": frozenset({What.HEARD}),
}  # fmt: skip
"""Word in the address, and which entries it shows."""

CONDITION_WORD = {
    Condition.IN: "in",
    Condition.OUT: "out",
    Condition.UNKNOWN: "data lost",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One entry as it is read. moved: what was shown before and after, "" where nothing changed."""

    site: str
    entry: Entry
    what: str
    about: str
    moved: str
    detail: str

    @property
    def is_person(self) -> bool:
        """Whether a person did it."""
        return self.entry.what in GROUPS["people"] and self.entry.who != GATEWAY


def lines_of(site: str, entries: Iterable[Entry]) -> list[Line]:
    """Entries as lines, in their order."""
    return [Line(site, one, _what(one), _about(one), _moved(one), _detail(one)) for one in entries]


def _what(entry: Entry) -> str:
    word = WORDS[entry.what]
    if entry.change is not None:
        return f"{word} {CONDITION_WORD[entry.change.condition]}"
    return f"{word}: {entry.label}" if entry.label else word


def _about(entry: Entry) -> str:
    return " ".join(
        part for part in (entry.point.unit, entry.point.alarm, entry.point.subject) if part
    )


def _moved(entry: Entry) -> str:
    if not entry.point.alarm or entry.before is entry.after:
        return ""
    return f"{entry.before} → {entry.after}"


def _detail(entry: Entry) -> str:
    counts = ", ".join(f"{name} {count}" for name, count in entry.counts.items())
    parts = [
        entry.reason,
        f"work order {entry.reference}" if entry.reference else "",
        f"with {entry.second}" if entry.second else "",
        "worst: " + ", ".join(entry.named[:5]) if entry.named else "",
        counts if entry.what is What.COUNTED else "",
        "came late" if entry.late else "",
    ]
    return "; ".join(part for part in parts if part)
