"""Suppression by design: a table of rules, each naming the cause that stays in sight.

The cause may hide what follows from it, never the reverse: a site's alarm hides the arcing of its
single insulators, a planned outage hides silence, and nothing hides an alarm that is worsening.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from edge.decide.definitions import Alarm
from gateway.alarms.journal import GATEWAY, Entry, Point, What
from gateway.alarms.memory import SITE_POINT, AlarmList
from gateway.alarms.messages import MONITOR_SILENT, SITE_SILENT
from gateway.alarms.sight import Sight
from gateway.alarms.states import NORMAL

SITE_ROLL_UP = "site roll-up"
PLANNED_OUTAGE = "planned outage"
SITE_LINK = "no monitor of the site is heard"
WASH_ON_RECORD = "wash on record"

Applies = Callable[[AlarmList, Point, int], bool]


def _site_arcs(held: AlarmList, point: Point, now_us: int) -> bool:
    cause = held.of(SITE_POINT)
    return cause.core.is_in and cause.maintenance is None


def _outage(held: AlarmList, point: Point, now_us: int) -> bool:
    return any(one.covers(point.unit, now_us) for one in held.outages)


def _site_is_silent(held: AlarmList, point: Point, now_us: int) -> bool:
    cause = held.of(Point("", SITE_SILENT, ""))
    return cause.core.is_in and cause.maintenance is None


def _washed(held: AlarmList, point: Point, now_us: int) -> bool:
    return any(held.washes.get(where, 0) > now_us for where in ("", point.subject))


RULES: tuple[tuple[str, frozenset[str], Applies], ...] = (
    (SITE_ROLL_UP, frozenset({Alarm.ARCING.value}), _site_arcs),
    (
        PLANNED_OUTAGE,
        frozenset({Alarm.SENSOR_FAILED.value, Alarm.UNIT_HEALTH, MONITOR_SILENT, SITE_SILENT}),
        _outage,
    ),
    (SITE_LINK, frozenset({MONITOR_SILENT}), _site_is_silent),
    (WASH_ON_RECORD, frozenset({Alarm.DRY_AIR_CURRENT.value}), _washed),
)
"""Name of the rule, the alarms that it may hide, and when it holds; the first that holds counts."""


def rule_over(held: AlarmList, point: Point, now_us: int) -> str:
    """Name of the rule that suppresses a point now, "" for none."""
    for name, alarms, applies in RULES:
        if point.alarm in alarms and applies(held, point, now_us):
            return name
    return ""


def suppress_by_design(held: AlarmList, sight: Sight) -> Iterator[Entry]:
    """Rules that began or ended to hold; what is normal anyway is left alone."""
    for point, kept in held.kept.items():
        rule = rule_over(held, point, sight.now_us)
        if rule == kept.design or (not kept.design and kept.core == NORMAL):
            continue
        what = What.SUPPRESSED if rule else What.REVEALED
        yield Entry(
            at_us=sight.now_us,
            what=what,
            who=GATEWAY,
            point=point,
            reason=rule or f"{kept.design} has ended",
        )
