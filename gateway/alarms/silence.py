"""Silence: the gateway alone decides that a monitor is not heard.

One alarm for one cause: where no monitor of a site is heard, the site's link is the cause and the
single monitors are not announced. Nothing is said while the gateway itself cannot hear, and a unit
whose line's status input says out of service, or that is in a planned outage, may be silent.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from edge.records import Condition, ConditionChange
from gateway.alarms.journal import Point
from gateway.alarms.memory import AlarmList
from gateway.alarms.messages import MONITOR_SILENT, SITE_SILENT
from gateway.alarms.sight import UnitSight

SILENT_US = 15 * 60_000_000
"""A unit unheard for so long is silent; it reports every minute."""

MISSED_US = 3 * 60_000_000
"""A unit unheard for so long may be going silent: its neighbours wait, so that one cause is told
as one alarm."""

BACK_US = 120_000_000
"""So long a unit must be heard again before it counts as back: two reports."""


@dataclass(frozen=True, slots=True)
class UnitFacts:
    """What is known of a unit beside the alarm list.

    heard_us: last line, by the gateway's clock, 0 never. newest_us: end of its newest row, by the
    unit's. may_be_silent: its line is out of service by its own status input.
    """

    heard_us: int
    newest_us: int
    may_be_silent: bool = False


@dataclass(frozen=True, slots=True)
class Listening:
    """What listening remembers; it is not part of the journal and starts anew with the gateway.

    since_us: since when the gateway hears without a break, 0 while it cannot. looked_us: when it
    last looked. heard_since_us, live_since_us: since when a unit is heard, and sends of the
    present, without a break.
    """

    since_us: int = 0
    looked_us: int = 0
    heard_since_us: Mapping[str, int] = field(default_factory=dict)
    live_since_us: Mapping[str, int] = field(default_factory=dict)


def listen(before: Listening, units: Mapping[str, UnitFacts], now_us: int, deaf: bool) -> Listening:
    """After one look at the units. deaf: the gateway has no broker or no store.

    Where the gateway's clock was stepped back, everything is counted anew.
    """
    if deaf:
        return Listening()
    if now_us < before.looked_us:
        before = Listening()
    heard = {unit for unit, facts in units.items() if 0 <= now_us - facts.heard_us < MISSED_US}
    live = {unit for unit in heard if now_us - units[unit].newest_us < MISSED_US}
    return Listening(
        before.since_us or now_us,
        now_us,
        {unit: before.heard_since_us.get(unit, now_us) for unit in heard},
        {unit: before.live_since_us.get(unit, now_us) for unit in live},
    )


def sights(listening: Listening, units: Mapping[str, UnitFacts]) -> dict[str, UnitSight]:
    """The units as a tick of the alarm list wants them."""
    return {
        unit: UnitSight(facts.heard_us, listening.live_since_us.get(unit, 0))
        for unit, facts in units.items()
    }


def judge_silence(
    held: AlarmList, listening: Listening, units: Mapping[str, UnitFacts], now_us: int
) -> tuple[tuple[str, ConditionChange], ...]:
    """Unit ("" the site) and change, for each silence that began or ended."""
    if not listening.since_us:
        return ()
    last_us = {unit: _last_us(facts, listening, now_us) for unit, facts in units.items()}
    unheard_us = {unit: now_us - last_us[unit] for unit in units}
    silent = {unit for unit in units if _is_silent(held, listening, units, unheard_us, unit)}
    whole = len(units) > 1 and silent == set(units)
    site_us = max(last_us.values(), default=now_us)
    found = [_change(held, "", SITE_SILENT, whole, site_us, now_us)]
    undecided = any(
        unheard_us[unit] >= MISSED_US and unit not in silent and not units[unit].may_be_silent
        for unit in units
    )
    for unit in units:
        is_in = held.of(Point(unit, MONITOR_SILENT, "")).core.is_in
        raised = unit in silent and (is_in or not (undecided or whole))
        found.append(_change(held, unit, MONITOR_SILENT, raised, last_us[unit], now_us))
    return tuple(change for change in found if change is not None)


def _last_us(facts: UnitFacts, listening: Listening, now_us: int) -> int:
    """When it was last heard, or else since when it could have been; a time to come is no time."""
    return max(facts.heard_us if facts.heard_us <= now_us else 0, listening.since_us)


def _is_silent(
    held: AlarmList,
    listening: Listening,
    units: Mapping[str, UnitFacts],
    unheard_us: Mapping[str, int],
    unit: str,
) -> bool:
    """Silent for long enough; one that was stays so until it is heard for a while."""
    if units[unit].may_be_silent:
        return False
    if unheard_us[unit] >= SILENT_US:
        return True
    was = held.of(Point(unit, MONITOR_SILENT, "")).core.is_in
    site = held.of(Point("", SITE_SILENT, "")).core.is_in
    if not (was or site):
        return False
    since_us = listening.heard_since_us.get(unit)
    return since_us is None or units[unit].heard_us - since_us < BACK_US


def _change(
    held: AlarmList, unit: str, alarm: str, is_in: bool, since_us: int, now_us: int
) -> tuple[str, ConditionChange] | None:
    if held.of(Point(unit, alarm, "")).core.is_in is is_in:
        return None
    change = ConditionChange(
        alarm=alarm,
        subject="",
        condition=Condition.IN if is_in else Condition.OUT,
        priority=3,
        latched=False,
        at_us=now_us,
        at_counter=0,
        since_us=since_us if is_in else now_us,
        deciding={"unheard_us": now_us - since_us} if is_in else {},
        limits={"unheard_us": SILENT_US},
        reason="not heard" if is_in else "heard again",
    )
    return unit, change
