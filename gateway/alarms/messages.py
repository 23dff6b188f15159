"""Alarm, task and event are three things; and the alarms that the gateway itself decides.

An alarm asks an operator to act within minutes, this shift at most. A task is for maintenance or
the asset engineer, hours to weeks. An event is for whoever looks into the journal. Which is which
is a table by alarm and priority; an alarm that the table does not know is never hidden.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from edge.decide.alarm_table import DEAD_SENSOR, DEFAULT_ALARMS, KEEP_CLEAR
from edge.decide.definitions import PRIORITIES, Alarm


class MessageClass(StrEnum):
    """Who is meant, and by when."""

    ALARM = "alarm"
    TASK = "task"
    EVENT = "event"


SITE_ARCING = "site-arcing"
SITE_SILENT = "site-silent"
MONITOR_SILENT = "monitor-silent"
LIMITS_NOT_IN_FORCE = "limits-not-in-force"
NOTICES_FAIL = "notices-fail"

_A, _T = MessageClass.ALARM, MessageClass.TASK
_CLASSES: dict[str, tuple[MessageClass, MessageClass, MessageClass]] = {
    #                           priority 1, 2, 3
    SITE_ARCING: (_A, _A, _A),
    SITE_SILENT: (_A, _A, _A),
    MONITOR_SILENT: (_A, _A, _A),
    LIMITS_NOT_IN_FORCE: (_A, _A, _T),
    NOTICES_FAIL: (_A, _A, _A),
    Alarm.ARCING: (_A, _A, _A),
    Alarm.NEAR_MARGIN: (_A, _A, _A),
    Alarm.FLASHOVER_SUSPECTED: (_A, _A, _A),
    Alarm.OVER_RANGE: (_A, _A, _A),
    Alarm.DRY_AIR_CURRENT: (_A, _A, _A),
    Alarm.SENSOR_FAILED: (_A, _A, _A),
    Alarm.CLOCK_UNSYNCHRONISED: (_A, _A, _T),
    Alarm.STORAGE: (_A, _A, _T),
    Alarm.UNIT_HEALTH: (_A, _A, _A),
}

CLASS_OF: dict[tuple[str, int], MessageClass] = {
    (str(alarm), priority): classes[priority - 1]
    for alarm, classes in _CLASSES.items()
    for priority in PRIORITIES
}

WORSENING = frozenset({Alarm.NEAR_MARGIN.value, Alarm.FLASHOVER_SUSPECTED.value})
"""These break through suppression by design and through every budget; so does `over-range` on an
insulator that arcs."""


def message_class(alarm: str, priority: int) -> MessageClass:
    """ALARM for an alarm that this version does not know: a newer unit must be heard."""
    return CLASS_OF.get((alarm, priority), MessageClass.ALARM)


@dataclass(frozen=True, slots=True)
class Rationale:
    """What an operator reads beside an alarm: why, what if not, what to do, how soon."""

    alarm: str
    text: str
    cause: str
    consequence: str
    action: str
    safety: str
    time_to_respond_s: int


_OWN = (
    Rationale(
        SITE_ARCING,
        "Arcing on many insulators of the site",
        "A salt storm, fog on salt, or spraying water: it reaches the whole site at once",
        "Flashovers and trips of more than one circuit may follow",
        "Keep people out of the yard, call the duty engineer, prepare to transfer load, hold "
        "planned switching at the site",
        KEEP_CLEAR,
        600,
    ),
    Rationale(
        SITE_SILENT,
        "No monitor of the site is heard: the site is not watched",
        "The link, its supply or the broker",
        "A storm would not be seen",
        "Tell maintenance today; ask the weather desk whether salt wind or fog is due",
        DEAD_SENSOR,
        8 * 3600,
    ),
    Rationale(
        MONITOR_SILENT,
        "A monitor is not heard: its insulators are not watched",
        "The monitor, its supply or its part of the link",
        "A storm would not be seen on its insulators",
        "Tell maintenance today; until then go by weather and neighbouring insulators",
        DEAD_SENSOR,
        8 * 3600,
    ),
    Rationale(
        LIMITS_NOT_IN_FORCE,
        "Approved limits are not in force on a unit",
        "The unit was away or refuses them; the reason says which",
        "It decides by its former limits: alarms may come too late, or too often",
        "Asset engineer: read the reason, mend or roll back, see that the unit confirms",
        DEAD_SENSOR,
        24 * 3600,
    ),
    Rationale(
        NOTICES_FAIL,
        "Notices do not reach anybody: messages of this gateway are not delivered",
        "The mail or message service, its credentials or the way to it",
        "Nobody off this console is called",
        "Stay at the console or let somebody; call people by telephone; tell the gateway's keeper",
        DEAD_SENSOR,
        3600,
    ),
)

RATIONALES: dict[str, Rationale] = {one.alarm: one for one in _OWN} | {
    one.id.value: Rationale(
        one.id.value,
        one.text,
        one.cause,
        one.consequence,
        one.action,
        one.safety,
        one.time_to_respond_s,
    )
    for one in DEFAULT_ALARMS
}


def rationale(alarm: str) -> Rationale:
    """The rationale of an alarm; of one that is not known, what can be said of any."""
    unknown = "Not known to this version of the gateway; read the unit's own documents"
    return RATIONALES.get(
        alarm, Rationale(alarm, alarm, unknown, unknown, unknown, KEEP_CLEAR, 1200)
    )
