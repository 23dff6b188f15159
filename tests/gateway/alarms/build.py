"""A site whose alarms are told by the minute, each argument with a harmless default."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from edge.records import Condition
from gateway.alarms.actions import Acknowledge, Answer, Answered, Shelve
from gateway.alarms.alarm_list import Heard, Input, step
from gateway.alarms.folding import fold
from gateway.alarms.journal import Entry, Point, What, entry_line, read_entry
from gateway.alarms.memory import AlarmList, Kept
from gateway.alarms.sight import Sight, UnitSight
from tests.gateway.build import EPOCH, MINUTE_US, START_US, UNIT, condition

IN, OUT, UNKNOWN = Condition.IN, Condition.OUT, Condition.UNKNOWN
HOUR_US = 60 * MINUTE_US
SITE = "north-head"


def at(minute: float) -> int:
    return START_US + round(minute * MINUTE_US)


def point(alarm: str = "arcing", subject: str = "A1", unit: str = UNIT) -> Point:
    return Point(unit, alarm, subject)


def shelve(minute: float, hours: float, of: Point | None = None, second: str = "") -> Shelve:
    until_us = at(minute) + round(hours * HOUR_US)
    return Shelve(
        at_us=at(minute),
        by="mk",
        point=of or point(),
        until_us=until_us,
        reason="known: crew on site",
        second=second,
    )


class Story:
    """A list and its journal, told step by step; every step is followed by a tick."""

    def __init__(self, installed: int = 12) -> None:
        self.held = AlarmList(SITE)
        self.journal: list[Entry] = []
        self.installed = installed
        self.peaks_ua: Mapping[str, int] = {}
        self.units: Mapping[str, UnitSight] = {UNIT: UnitSight(at(0), at(-60))}
        self.seq = 0

    def give(self, *given: Input) -> list[Entry]:
        """The entries that came of it."""
        fresh: list[Entry] = []
        for one in given:
            self.held, entries = step(self.held, one)
            fresh += entries
        self.journal += fresh
        return fresh

    def tick(self, minute: float) -> list[Entry]:
        return self.give(
            Sight(at(minute), self.installed, self.installed, self.peaks_ua, self.units)
        )

    def hear(
        self,
        minute: float,
        condition_: Condition = IN,
        alarm: str = "arcing",
        subject: str = "A1",
        came: float | None = None,
        **changes: Any,
    ) -> list[Entry]:
        """A condition change of that minute, which came then or later."""
        self.seq += 1
        change = condition(0, condition_, alarm, subject)
        change = replace(change, at_us=at(minute), since_us=at(minute))
        change = replace(change, **changes)
        came_at = minute if came is None else came
        heard = Heard(at(came_at), UNIT, EPOCH, self.seq, change)
        return [*self.give(heard), *self.tick(came_at)]

    def begin_anew(self, minute: float, epoch: str) -> list[Entry]:
        heard = Heard(at(minute), UNIT, epoch, 1, None, began_anew=True, reason="created")
        return [*self.give(heard), *self.tick(minute)]

    def acknowledge(self, minute: float, *points: Point, by: str = "mk") -> list[Entry]:
        numbers = tuple(self.held.of(one).occurrence for one in points or (point(),))
        action = Acknowledge(at_us=at(minute), by=by, address="::1", occurrences=numbers)
        return [*self.give(action), *self.tick(minute)]

    def answer(self, minute: float, label: Answer, of: Point) -> list[Entry]:
        number = self.held.of(of).occurrence
        action = Answered(at_us=at(minute), by="mk", occurrence=number, label=label)
        return [*self.give(action), *self.tick(minute)]

    def of(self, alarm: str = "arcing", subject: str = "A1", unit: str = UNIT) -> Kept:
        return self.held.of(Point(unit, alarm, subject))

    def refolded(self) -> AlarmList:
        """The list again, from the journal as it is written."""
        return fold(AlarmList(SITE), [read_entry(entry_line(one)) for one in self.journal])


def announced(entries: Iterable[Entry]) -> list[Entry]:
    return [one for one in entries if one.what is What.ANNOUNCED]


def sounds(entries: Iterable[Entry]) -> int:
    return sum(one.sound for one in announced(entries))


def most_announced(entries: Iterable[Entry], window_us: int = 10 * MINUTE_US) -> int:
    """The most that a window of this length, laid anywhere, holds."""
    times = [one.at_us for one in announced(entries) if not one.worsening]
    return max((sum(0 <= t - start < window_us for t in times) for start in times), default=0)
