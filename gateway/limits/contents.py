"""What a content means: the alarms as they stand under it, and how two contents differ. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.definitions import Alarm, AlarmDefinition, DefinitionFault, adjusted
from edge.settings import AlarmPart, adjustments
from gateway.limits.changing import ChangeRefused

Content = Mapping[str, Any]
"""By alarm what differs from the program's defaults, as a unit's settings file says it."""

DEFAULTS: Mapping[Alarm, AlarmDefinition] = {one.id: one for one in DEFAULT_ALARMS}

ON, OFF, PRIORITY, OWNER, REASON = "on_delay_s", "off_delay_s", "priority", "owner", "reason"


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing of one alarm that is not the same. what: a limited quantity, or one of the words
    above. before: None where it is not known."""

    alarm: str
    what: str
    before: int | str | None
    after: int | str


def definitions_of(content: Content) -> dict[Alarm, AlarmDefinition]:
    """Every alarm under a content. Raises ChangeRefused for what is no content."""
    known = [alarm.value for alarm in Alarm]
    try:
        parts = {name: AlarmPart.model_validate(part) for name, part in content.items()}
        for name in parts:
            if name not in known:
                raise ChangeRefused(f"alarms.{name} is unknown; there are {', '.join(known)}")
        return {one.id: one for one in adjusted(DEFAULT_ALARMS, adjustments(parts))}
    except ValidationError as fault:
        first = fault.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        raise ChangeRefused(f"{where}: {first['msg']}") from fault
    except DefinitionFault as fault:
        raise ChangeRefused(str(fault)) from fault


def said_of(definition: AlarmDefinition) -> dict[str, int | str]:
    """All that a content may say of an alarm, by its name."""
    limits: dict[str, int | str] = {limit.quantity: limit.at for limit in definition.limits}
    return limits | {
        ON: definition.on_delay_s,
        OFF: definition.off_delay_s,
        PRIORITY: definition.priority,
        OWNER: definition.owner,
        REASON: definition.reason,
    }


def differences(before: Content | None, after: Content) -> list[Difference]:
    """What changes from one content to the next, in the order of the alarms.

    before: None where nobody here knows it; then all that is not the program's default is named.
    Raises ChangeRefused.
    """
    was = DEFAULTS if before is None else definitions_of(before)
    will = definitions_of(after)
    return [
        Difference(alarm.value, what, None if before is None else old, new)
        for alarm in will
        for what, old, new in _changed(was[alarm], will[alarm])
    ]


def _changed(
    was: AlarmDefinition, will: AlarmDefinition
) -> Iterator[tuple[str, int | str, int | str]]:
    old = said_of(was)
    for what, new in said_of(will).items():
        if old[what] != new:
            yield what, old[what], new
