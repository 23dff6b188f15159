"""The alarm list as a step: condition changes, operator actions and ticks in, journal entries out.

`step(held, something) -> (held, entries)`, and folding the entries gives the same list. There is
no clock in here: a tick says what time it is. What is heard only moves memories; whether and when
somebody is called is decided at the next tick (`gateway.alarms.announcing`), which follows at once.
"""

from __future__ import annotations

from dataclasses import dataclass

from edge.quantities import Flag
from edge.records import ConditionChange
from gateway.alarms.actions import Action, act
from gateway.alarms.announcing import announce
from gateway.alarms.folding import put
from gateway.alarms.housekeeping import keep_house
from gateway.alarms.journal import GATEWAY, Entry, Point, What
from gateway.alarms.memory import AlarmList, Entries
from gateway.alarms.roll_up import judge_site
from gateway.alarms.sight import Sight
from gateway.alarms.states import CALLS
from gateway.alarms.suppression import suppress_by_design

LATE_US = 15 * 60_000_000
"""A change older than this when it comes is late: it is never announced as if it were happening.
Where the unit's clock is not synchronised its age cannot be told, and it is taken as live."""


@dataclass(frozen=True, slots=True)
class Heard:
    """A line of a unit's alarm stream. change: None where it was another kind of record.

    began_anew: the line says that the unit's memory starts anew. at_us: when the gateway committed
    it.
    """

    at_us: int
    unit: str
    epoch: str
    seq: int
    change: ConditionChange | None
    began_anew: bool = False
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Judged:
    """A condition that the gateway itself decides; unit "" for the site."""

    at_us: int
    unit: str
    change: ConditionChange


@dataclass(frozen=True, slots=True)
class Restarted:
    """The gateway is up again and was blind from `blind_from_us` on."""

    at_us: int
    blind_from_us: int


Input = Heard | Judged | Restarted | Sight | Action


def step(held: AlarmList, given: Input) -> tuple[AlarmList, Entries]:
    """The list after one input, and the entries that made it so.

    Raises ActionRefused for an action that the rules do not allow; the list is as it was.
    """
    if isinstance(given, Sight):
        return tick(held, given)
    if isinstance(given, Heard):
        return put(held, *_heard(held, given))
    if isinstance(given, Judged):
        point = Point(given.unit, given.change.alarm, given.change.subject)
        entry = Entry(
            at_us=given.at_us, what=What.HEARD, who=GATEWAY, point=point, change=given.change
        )
        return put(held, entry)
    if isinstance(given, Restarted):
        return put(
            held,
            Entry(
                at_us=given.at_us,
                what=What.RESTARTED,
                who=GATEWAY,
                from_us=given.blind_from_us,
                until_us=given.at_us,
                reason="the gateway was not running",
            ),
        )
    return put(held, *act(held, given))


def tick(held: AlarmList, sight: Sight) -> tuple[AlarmList, Entries]:
    """What time alone brings: shelves end, the site is counted, calls go out."""
    entries: list[Entry] = []
    sounding = is_sounding(held)
    for rule in (keep_house, judge_site, suppress_by_design):
        held, more = put(held, *rule(held, sight))
        entries += more
    held, more = announce(held, sight, sounding)
    return held, (*entries, *more)


def is_sounding(held: AlarmList) -> bool:
    """Whether a call that was announced still waits for somebody."""
    return calling_priority(held) is not None


def calling_priority(held: AlarmList) -> int | None:
    """The highest priority that still waits for somebody; the sound is its sound."""
    return min(
        (kept.priority for kept in held.kept.values() if kept.sounding and kept.shown in CALLS),
        default=None,
    )


def _heard(held: AlarmList, given: Heard) -> tuple[Entry, ...]:
    """A line that was heard before is nothing new."""
    if given.seq <= held.heard.get((given.unit, given.epoch), 0):
        return ()
    change = given.change
    point = Point(given.unit, "", "")
    what = What.BEGAN_ANEW if given.began_anew else What.PASSED_OVER
    if change is not None:
        what, point = What.HEARD, Point(given.unit, change.alarm, change.subject)
    return (
        Entry(
            at_us=given.at_us,
            what=what,
            who=given.unit,
            point=point,
            change=change,
            epoch=given.epoch,
            seq=given.seq,
            late=change is not None and is_late(change, given.at_us),
            reason=given.reason,
        ),
    )


def is_late(change: ConditionChange, at_us: int) -> bool:
    """Whether it had happened long before it came."""
    if Flag.CLOCK_UNSYNCHRONISED in change.flags:
        return False
    return at_us - change.at_us > LATE_US
