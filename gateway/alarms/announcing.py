"""Who is called, and when: what waits to be announced meets the budgets here.

A call is shown in the list from the first moment; what a budget holds back is the announcement.
Every hold has a named end. A worsening alarm waits for nothing.
"""

from __future__ import annotations

from edge.decide.definitions import Alarm
from gateway.alarms.folding import put
from gateway.alarms.journal import GATEWAY, Entry, Point, What
from gateway.alarms.memory import SITE_POINT, AlarmList, Entries, Kept, is_worsening
from gateway.alarms.messages import MessageClass, message_class
from gateway.alarms.roll_up import arcing, count_on
from gateway.alarms.sight import Sight
from gateway.alarms.states import CALLS

BUDGET = 3
"""At most so many announcements in any ten minutes at one operating position, whatever its sites;
the next waits for the oldest to be ten minutes old. The last place is kept for priority 1."""

BUDGET_US = 600_000_000

GATHER_US = 300_000_000
"""After one insulator of a site was announced, the next ones wait this long whether the site will
speak for them."""

CAUGHT_UP_US = 120_000_000
"""So long a unit's data must be of the present before what came late, and still stands, is
announced."""

HELD_LATE_US = 1_800_000_000
"""What came late and still stands after this is announced all the same: the unit's clock may be
wrong, and hiding it would be worse."""


def announce(held: AlarmList, sight: Sight, sounding: bool) -> tuple[AlarmList, Entries]:
    """Announces what is due.

    sounding: a call sounded before this tick and still waits; then another one makes no sound of
    its own, unless it is worsening or overdue.
    """
    entries: list[Entry] = []
    for point in waiting(held):
        urgent = is_worsening(held, point)
        if _held_back(held, point, urgent, sight):
            continue
        sound = not sounding or urgent or held.of(point).overdue
        held, more = put(held, _entry(held, point, urgent, sight, sound))
        entries += more
        sounding = True
    return held, tuple(entries)


def waiting(held: AlarmList) -> list[Point]:
    """Calls that were not announced yet: worsening first, then by priority, then as they came."""
    found = [point for point, kept in held.kept.items() if _calls(point, kept)]
    return sorted(
        found,
        key=lambda one: (
            not is_worsening(held, one),
            held.of(one).priority,
            held.of(one).occurrence,
        ),
    )


def _calls(point: Point, kept: Kept) -> bool:
    return (
        kept.shown in CALLS
        and kept.pending
        and message_class(point.alarm, kept.priority) is MessageClass.ALARM
    )


def _held_back(held: AlarmList, point: Point, urgent: bool, sight: Sight) -> bool:
    kept = held.of(point)
    if kept.late and not _may_be_told_late(kept, point, sight):
        return True
    if urgent:
        return False
    return _gathers(held, point, sight) or _over_budget(held, kept, sight)


def _may_be_told_late(kept: Kept, point: Point, sight: Sight) -> bool:
    unit = sight.units.get(point.unit)
    live_us = 0 if unit is None else unit.live_since_us
    if live_us and sight.now_us - max(live_us, kept.heard_us) >= CAUGHT_UP_US:
        return True
    return not _within(sight.now_us, kept.heard_us, HELD_LATE_US)


def _gathers(held: AlarmList, point: Point, sight: Sight) -> bool:
    if point.alarm != Alarm.ARCING or sight.installed < 2:
        return False
    if len(arcing(held)) >= count_on(sight.installed):
        return False
    heard_us = held.of(point).heard_us
    after_another = any(
        one.point.alarm == Alarm.ARCING
        and one.point != point
        and _within(heard_us, one.at_us, GATHER_US)
        for one in held.recent
    )
    return after_another and _within(sight.now_us, heard_us, GATHER_US)


def _over_budget(held: AlarmList, kept: Kept, sight: Sight) -> bool:
    own_us = (one.at_us for one in held.recent if not one.worsening)
    spent = sum(_within(sight.now_us, at_us, BUDGET_US) for at_us in (*own_us, *sight.elsewhere_us))
    return spent >= (BUDGET if kept.priority == 1 else BUDGET - 1)


def _within(later_us: int, earlier_us: int, span_us: int) -> bool:
    """Whether less than a span lies between. After a clock was stepped back nothing does, so no
    hold outlives the step."""
    return 0 <= later_us - earlier_us < span_us


def _entry(held: AlarmList, point: Point, urgent: bool, sight: Sight, sound: bool) -> Entry:
    kept = held.of(point)
    rolled = point == SITE_POINT
    return Entry(
        at_us=sight.now_us,
        what=What.ANNOUNCED,
        who=GATEWAY,
        point=point,
        late=kept.late,
        worsening=urgent,
        sound=sound,
        named=held.roll.named if rolled else (),
        counts=dict(held.roll.counts) if rolled else {},
        reason="came late and still stands" if kept.late else "",
    )
