"""What a run would have put before an operator: its alarms through the gateway's own alarm list.

Roll-up, suppression and budgets of announcing act as they would have. The operator is an ideal one,
who acknowledges every call and resets every latch ten minutes later and shelves nothing. All alarms
of a run are those of one unit, at one operating position.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence

from edge.records import ConditionChange
from gateway.alarms.actions import Acknowledge, Reset
from gateway.alarms.alarm_list import Heard, Input, step
from gateway.alarms.announcing import BUDGET_US, GATHER_US
from gateway.alarms.journal import Entry
from gateway.alarms.memory import AlarmList
from gateway.alarms.performance import Figures, figures
from gateway.alarms.roll_up import CALM_US
from gateway.alarms.sight import Sight, UnitSight
from gateway.alarms.states import Shown

TICK_US = 60_000_000
"""The list is ticked on whole minutes, as far as anything can come of it."""

ACTS_AFTER_US = 600_000_000
"""So long the ideal operator takes. Design choice."""

HOLDS_US = tuple(sorted({GATHER_US, BUDGET_US, CALM_US, ACTS_AFTER_US}))
"""What can come of time alone comes so long after a change or an entry of the journal; the minutes
between are passed over. An hour without acknowledgement never passes here."""

UNIT = "replay.run"
SITE = "replay"
EPOCH = "1-0000000000000000"
OPERATOR = "ideal-operator"


def operator_load(
    changes: Sequence[ConditionChange], insulators: Sequence[str], from_us: int, to_us: int
) -> Figures:
    """Figures of the one operating position over [from_us, to_us); changes as decided."""
    desk = Desk(insulators)
    for change in changes:
        desk.hear(change)
    desk.pass_time(to_us)
    (found,) = figures([(SITE, one) for one in desk.journal], from_us, to_us)
    return found


class Desk:
    """A gateway that hears each change when it happens, and its ideal operator.

    every_minute: nothing is passed over; slow, and for tests.
    """

    def __init__(self, insulators: Sequence[str], every_minute: bool = False) -> None:
        self.journal: list[Entry] = []
        self._held = AlarmList(SITE)
        self._insulators = len(insulators)
        self._every_minute = every_minute
        self._peaks_ua: dict[str, int] = {}
        self._now_us = 0
        self._heard = 0
        self._due_us: list[int] = []
        self._ticked_us = -1

    def hear(self, change: ConditionChange) -> None:
        """Time goes on to the change, and ticks only when it goes on: changes of one moment come
        in one message. A clock that was stepped back stands still meanwhile."""
        at_us = max(self._now_us, change.at_us)
        self.pass_time(at_us)
        self._heard += 1
        heapq.heappush(self._due_us, at_us)
        self._await(at_us)
        if "arcing_peak_ua" in change.deciding:
            self._peaks_ua[change.subject] = change.deciding["arcing_peak_ua"]
        self._give(Heard(at_us, UNIT, EPOCH, self._heard, change))

    def pass_time(self, until_us: int) -> None:
        """Ticks whenever anything could come of it, before `until_us`."""
        while self._due_us and self._due_us[0] < until_us:
            now_us = heapq.heappop(self._due_us)
            if now_us > self._ticked_us:
                self._tick(now_us)
                self._ticked_us = now_us
        self._now_us = until_us

    def _await(self, at_us: int) -> None:
        holds_us = (TICK_US, *HOLDS_US) if self._every_minute else HOLDS_US
        for hold_us in holds_us:
            heapq.heappush(self._due_us, -(-(at_us + hold_us) // TICK_US) * TICK_US)

    def _tick(self, now_us: int) -> None:
        before = len(self.journal)
        for given in list(self._actions(now_us)):
            self._give(given)
        units = {UNIT: UnitSight(now_us, 1)}
        count = self._insulators
        self._give(Sight(now_us, count, count, dict(self._peaks_ua), units))
        if self._every_minute or len(self.journal) > before:
            self._await(now_us)

    def _actions(self, now_us: int) -> Iterator[Input]:
        for point, kept in self._held.kept.items():
            if not kept.announced_us or now_us - kept.announced_us < ACTS_AFTER_US:
                continue
            if kept.sounding:
                yield Acknowledge(at_us=now_us, by=OPERATOR, occurrences=(kept.occurrence,))
            elif kept.shown is Shown.LATCHED:
                yield Reset(at_us=now_us, by=OPERATOR, point=point)

    def _give(self, given: Input) -> None:
        self._held, entries = step(self._held, given)
        self.journal += entries
