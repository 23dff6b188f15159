"""What an alarm is: the record that an operator can act on, and the check that none is empty.

The fields follow common practice of alarm rationalisation (cause, consequence of doing nothing,
action, time to respond, limit, deadband, delays, owner, reason). Every number is a starting point
for a site to set, with an owner and a reason.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, fields, replace
from enum import StrEnum

from edge.decide.setpoints import Limit

PRIORITIES = (1, 2, 3)
US_PER_S = 1_000_000


class Alarm(StrEnum):
    """The alarms that the edge decides; each has a definition and a rule."""

    ARCING = "arcing"
    NEAR_MARGIN = "near-margin"
    FLASHOVER_SUSPECTED = "flashover-suspected"
    OVER_RANGE = "over-range"
    DRY_AIR_CURRENT = "dry-air-current"
    SENSOR_FAILED = "sensor-failed"
    CLOCK_UNSYNCHRONISED = "clock-unsynchronised"
    STORAGE = "storage"
    UNIT_HEALTH = "unit-health"


class Subject(StrEnum):
    """What a definition watches."""

    INSULATOR = "insulator"
    UNIT = "unit"
    BOTH = "both"


class DefinitionFault(ValueError):
    """An alarm definition or its adjustment is not acceptable: the installer can mend it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmDefinition:
    """One alarm, rationalised.

    limits: what is compared, with units; all of one definition serve the same condition.
    on_delay_s, off_delay_s: seconds of good data. lost_after_s: seconds without good data until the
    condition is called unknown. valid_when: when it may be judged, in words (the rule does it).
    safety: the caution that goes with the text wherever it is shown. source: where the numbers come
    from: a design choice, common practice, or a document 'as recalled'.
    """

    id: Alarm
    subject: Subject
    text: str
    priority: int
    latched: bool
    cause: str
    consequence: str
    action: str
    safety: str
    time_to_respond_s: int
    limits: tuple[Limit, ...]
    on_delay_s: int
    off_delay_s: int
    lost_after_s: int
    valid_when: str
    owner: str
    reason: str
    source: str

    def limit(self, quantity: str) -> Limit:
        """The limit of one quantity; the definitions' check makes sure that the rules' exist."""
        return next(limit for limit in self.limits if limit.quantity == quantity)


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjustment:
    """What a site sets differently for one alarm, and who answers for it."""

    alarm: Alarm
    owner: str
    reason: str
    limits_at: dict[str, int] = field(default_factory=dict)
    on_delay_s: int | None = None
    off_delay_s: int | None = None
    priority: int | None = None


def check_definitions(definitions: Iterable[AlarmDefinition]) -> tuple[AlarmDefinition, ...]:
    """The definitions, if each is complete and each alarm defined exactly once.

    Raises DefinitionFault with all that is wrong, one line each.
    """
    checked = tuple(definitions)
    faults = [fault for definition in checked for fault in _faults_of(definition)]
    found = sorted(definition.id.value for definition in checked)
    if found != sorted(alarm.value for alarm in Alarm):
        faults.append(f"alarms defined: {', '.join(found)}; each of {list(Alarm)} once is needed")
    if faults:
        raise DefinitionFault("\n".join(faults))
    return checked


def _faults_of(definition: AlarmDefinition) -> list[str]:
    where = f"alarm {definition.id.value}"
    faults = [
        f"{where}: {item.name} is empty; write what an operator needs to read there"
        for item in fields(definition)
        if isinstance(text := getattr(definition, item.name), str) and not text.strip()
    ]
    if definition.priority not in PRIORITIES:
        faults.append(f"{where}: priority is {definition.priority}; it must be 1, 2 or 3")
    if not definition.limits:
        faults.append(f"{where}: no limit; at least one quantity with unit and amount is needed")
    if min(definition.on_delay_s, definition.off_delay_s) < 0:
        faults.append(f"{where}: a delay is negative; seconds of good data are counted, from 0")
    if min(definition.lost_after_s, definition.time_to_respond_s) <= 0:
        faults.append(f"{where}: lost_after_s and time_to_respond_s must be above 0")
    return faults + [fault for limit in definition.limits for fault in _limit_faults(where, limit)]


def _limit_faults(where: str, limit: Limit) -> list[str]:
    faults = []
    if not limit.quantity or not limit.unit:
        faults.append(f"{where}: a limit lacks its quantity or unit")
    if limit.deadband < 0:
        faults.append(f"{where}: deadband of {limit.quantity} is {limit.deadband}; at least 0")
    return faults


def adjusted(
    definitions: Iterable[AlarmDefinition], adjustments: Iterable[Adjustment]
) -> tuple[AlarmDefinition, ...]:
    """The definitions with a site's settings in; owner and reason become the site's.

    A deadband keeps its share of its limit. Raises DefinitionFault for an alarm adjusted twice, an
    unknown quantity or anything that `check_definitions` refuses.
    """
    wanted: dict[Alarm, Adjustment] = {}
    for adjustment in adjustments:
        if adjustment.alarm in wanted:
            raise DefinitionFault(f"alarm {adjustment.alarm.value}: adjusted twice; once is meant")
        wanted[adjustment.alarm] = adjustment
    return check_definitions(
        _adjust(definition, wanted[definition.id]) if definition.id in wanted else definition
        for definition in definitions
    )


def _adjust(definition: AlarmDefinition, wanted: Adjustment) -> AlarmDefinition:
    known = [limit.quantity for limit in definition.limits]
    for quantity in wanted.limits_at:
        if quantity not in known:
            raise DefinitionFault(
                f"alarm {definition.id.value}: no limit on {quantity!r}; there is {known}"
            )
    return replace(
        definition,
        limits=tuple(
            moved_limit(limit, wanted.limits_at.get(limit.quantity, limit.at))
            for limit in definition.limits
        ),
        on_delay_s=definition.on_delay_s if wanted.on_delay_s is None else wanted.on_delay_s,
        off_delay_s=definition.off_delay_s if wanted.off_delay_s is None else wanted.off_delay_s,
        priority=definition.priority if wanted.priority is None else wanted.priority,
        owner=wanted.owner,
        reason=wanted.reason,
    )


def moved_limit(limit: Limit, at: int) -> Limit:
    """The limit at another amount, its deadband keeping its share (rounded down)."""
    if at == limit.at or limit.at == 0:
        return replace(limit, at=at)
    return replace(limit, at=at, deadband=limit.deadband * at // limit.at)
