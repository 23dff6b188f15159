"""What a run would have put before an operator: its alarms through the gateway's own alarm list.

Roll-up, suppression and budgets of announcing act as they would have. The operator is an ideal one,
who acknowledges every call and resets every latch ten minutes later and shelves nothing. All alarms
of a run are those of one unit, at one operating position.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from edge.records import ConditionChange
from gateway.alarms.actions import Acknowledge, Reset
from gateway.alarms.alarm_list import Heard, Input, step
from gateway.alarms.journal import Entry
from gateway.alarms.memory import AlarmList
from gateway.alarms.performance import Figures, figures
from gateway.alarms.sight import Sight, UnitSight
from gateway.alarms.states import Shown

TICK_US = 60_000_000

SETTLED_US = 3 * 3_600_000_000
"""So long after a change the list is ticked by the minute; by then every hold and delay of it has
ended (the longest is the hour in which a site's roll-up goes out), and the next change is waited
for. Longer gaps are passed over."""

ACTS_AFTER_US = 600_000_000
"""So long the ideal operator takes. Design choice."""

UNIT = "replay.run"
SITE = "replay"
EPOCH = "1-0000000000000000"
OPERATOR = "ideal-operator"


def operator_load(
    changes: Sequence[ConditionChange], insulators: Sequence[str], from_us: int, to_us: int
) -> Figures:
    """Figures of the one operating position over [from_us, to_us); changes as decided."""
    desk = _Desk(insulators)
    for change in changes:
        desk.hear(change)
    desk.pass_time(to_us)
    (found,) = figures([(SITE, one) for one in desk.journal], from_us, to_us)
    return found


class _Desk:
    """A gateway that hears each change when it happens, and its ideal operator."""

    def __init__(self, insulators: Sequence[str]) -> None:
        self.journal: list[Entry] = []
        self._held = AlarmList(SITE)
        self._insulators = len(insulators)
        self._peaks_ua: dict[str, int] = {}
        self._now_us = 0
        self._heard = 0

    def hear(self, change: ConditionChange) -> None:
        """Time goes on to the change, and ticks only when it goes on: changes of one moment come
        in one message. A clock that was stepped back stands still meanwhile."""
        at_us = max(self._now_us, change.at_us)
        self.pass_time(at_us)
        self._now_us = at_us
        self._heard += 1
        if "arcing_peak_ua" in change.deciding:
            self._peaks_ua[change.subject] = change.deciding["arcing_peak_ua"]
        self._give(Heard(at_us, UNIT, EPOCH, self._heard, change))

    def pass_time(self, until_us: int) -> None:
        """Ticks from the last change on, as long as anything could come of them."""
        if self._heard:
            end_us = min(until_us, self._now_us + SETTLED_US)
            for now_us in range(self._now_us, end_us, TICK_US):
                self._tick(now_us)

    def _tick(self, now_us: int) -> None:
        for given in list(self._actions(now_us)):
            self._give(given)
        units = {UNIT: UnitSight(now_us, 1)}
        count = self._insulators
        self._give(Sight(now_us, count, count, dict(self._peaks_ua), units))

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
