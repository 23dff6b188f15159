"""Alarms as occurrences: one from each 'in' to the 'out' that ends it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from edge.records import Condition, ConditionChange

Key = tuple[str, str]
"""Alarm and subject."""


@dataclass(frozen=True, slots=True, order=True)
class Occurrence:
    """One time that an alarm was in. Times are event times, UTC us.

    subject: insulator, or "" for the unit. end_us: None where it was still in at the end.
    """

    start_us: int
    alarm: str
    subject: str
    priority: int
    end_us: int | None

    @property
    def key(self) -> Key:
        """Which alarm of which subject."""
        return self.alarm, self.subject


def occurrences(changes: Iterable[ConditionChange]) -> tuple[Occurrence, ...]:
    """In order of their start. changes: in the order in which they were decided.

    'Unknown' freezes what was: it neither begins nor ends an occurrence, and an 'in' after it goes
    on with the one that stood. An end before its start (a clock that was stepped) is the start.
    """
    standing: dict[Key, ConditionChange] = {}
    found: list[Occurrence] = []
    for change in changes:
        key = (change.alarm, change.subject)
        if change.condition is Condition.IN:
            standing.setdefault(key, change)
        elif change.condition is Condition.OUT and key in standing:
            found.append(_occurrence(standing.pop(key), change.at_us))
    found += [_occurrence(begun, None) for begun in standing.values()]
    return tuple(sorted(found, key=lambda one: (one.start_us, one.alarm, one.subject)))


def _occurrence(begun: ConditionChange, end_us: int | None) -> Occurrence:
    return Occurrence(
        start_us=begun.at_us,
        alarm=begun.alarm,
        subject=begun.subject,
        priority=begun.priority,
        end_us=None if end_us is None else max(end_us, begun.at_us),
    )
