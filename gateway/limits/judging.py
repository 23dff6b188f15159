"""Limits that are not in force, as conditions that the alarm list is told. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from edge.records import Condition, ConditionChange
from gateway.alarms.journal import Point
from gateway.alarms.memory import AlarmList
from gateway.alarms.messages import LIMITS_NOT_IN_FORCE
from gateway.limits.faults import Fault


def judged(
    held: AlarmList, units: Iterable[tuple[str, Fault | None]], now_us: int
) -> Iterator[tuple[str, ConditionChange]]:
    """Unit and change, for each fault that began or ended."""
    for unit, fault in units:
        if held.of(Point(unit, LIMITS_NOT_IN_FORCE, "")).core.is_in is (fault is not None):
            continue
        yield (
            unit,
            ConditionChange(
                alarm=LIMITS_NOT_IN_FORCE,
                subject="",
                condition=Condition.OUT if fault is None else Condition.IN,
                priority=3,
                latched=False,
                at_us=now_us,
                at_counter=0,
                since_us=now_us if fault is None else fault.since_us,
                deciding={},
                limits={},
                reason="confirmed" if fault is None else fault.reason[:200],
            ),
        )
