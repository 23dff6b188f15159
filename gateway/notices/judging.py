"""Notices that reach nobody, as a condition that the alarm list is told. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from edge.records import Condition, ConditionChange
from gateway.alarms.journal import Point
from gateway.alarms.memory import AlarmList
from gateway.alarms.messages import NOTICES_FAIL

POINT = Point("", NOTICES_FAIL, "")


def judged(
    held: AlarmList, failing: Mapping[str, int], now_us: int
) -> Iterator[tuple[str, ConditionChange]]:
    """The change where it began or ended. failing: since when nothing reaches each recipient."""
    if held.of(POINT).core.is_in is bool(failing):
        return
    names = ", ".join(sorted(failing))
    yield (
        "",
        ConditionChange(
            alarm=NOTICES_FAIL,
            subject="",
            condition=Condition.IN if failing else Condition.OUT,
            priority=3,
            latched=False,
            at_us=now_us,
            at_counter=0,
            since_us=min(failing.values(), default=now_us),
            deciding={"recipients": len(failing)} if failing else {},
            limits={},
            reason=f"nothing reaches {names}"[:200] if failing else "delivered again",
        ),
    )
