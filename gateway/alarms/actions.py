"""What a person may do with an alarm, and what is refused with a reason.

Each action becomes entries of the journal under the person's name, or raises ActionRefused. An
acknowledgement is of one occurrence, and given twice it is given once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from gateway.alarms.journal import Entry, Point, What
from gateway.alarms.memory import AlarmList, Kept

SHELF_DEFAULT_US = 3_600_000_000
SHELF_MAX_US = 12 * 3_600_000_000
"""One shift; longer is refused, and maintenance takes an alarm out of service instead."""

SHELF_PRIORITY_1_MAX_US = 3_600_000_000
"""Priority 1 is put aside for an hour at most, and only with a second person's name."""

OUTAGE_MAX_US = 31 * 86_400_000_000
"""A planned outage of more than a month is refused: it would be a forgotten one."""

TEXT_MAX = 400
"""Longer reasons and notes are refused, not cut."""


class ActionRefused(ValueError):
    """The person's: the rules do not allow it; the text says what they allow."""


class Answer(StrEnum):
    """What the person on site, or on the telephone, says was the case; a label for the analyst."""

    SEEN_ARCING = "seen-arcing"
    NOTHING_SEEN = "nothing-seen"
    WASHING = "washing"
    OUTAGE = "outage"


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Who acts, from where and when."""

    at_us: int
    by: str
    address: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Acknowledge(Person):
    """These occurrences; more than one only where none is of priority 1."""

    occurrences: tuple[int, ...]
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelve(Person):
    """For a time."""

    point: Point
    until_us: int
    reason: str
    second: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unshelve(Person):
    """Before its time is up."""

    point: Point
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reset(Person):
    """Of a latched alarm that is out, or of one whose unit lost its memory."""

    point: Point
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeOut(Person):
    """Out of service, under a work order."""

    point: Point
    order: str
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PutBack(Person):
    """Into service again."""

    point: Point
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered(Person):
    """One-touch answer to an occurrence."""

    occurrence: int
    label: Answer
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanOutage(Person):
    """A unit, or with "" the whole site, is meant to be quiet for a time."""

    unit: str
    from_us: int
    until_us: int
    reason: str


Action = Acknowledge | Shelve | Unshelve | Reset | TakeOut | PutBack | Answered | PlanOutage


def act(held: AlarmList, action: Action) -> tuple[Entry, ...]:
    """The entries of an action; none where it changes nothing. Raises ActionRefused."""
    _check_text("by", action.by, needed=True)
    entries: tuple[Entry, ...] = _ACTS[type(action)](held, action)
    return entries


def point_of(held: AlarmList, occurrence: int) -> Point:
    """The alarm whose last occurrence it is. Raises ActionRefused where it is over or unknown."""
    for point, kept in held.kept.items():
        if occurrence and kept.occurrence == occurrence:
            return point
    raise ActionRefused(
        f"alarm {held.site}.{occurrence} is not in the list: it is over or never was; "
        "look at the list again"
    )


def _check_text(name: str, text: str, needed: bool) -> None:
    if needed and not text.strip():
        raise ActionRefused(f"{name} is empty; it must be given, the journal keeps it")
    if len(text) > TEXT_MAX:
        raise ActionRefused(f"{name} has {len(text)} characters; at most {TEXT_MAX} are kept")


def _entry(action: Person, what: What, point: Point, **more: Any) -> Entry:
    return Entry(
        at_us=action.at_us, what=what, who=action.by, address=action.address, point=point, **more
    )


def _acknowledge(held: AlarmList, action: Acknowledge) -> tuple[Entry, ...]:
    _check_text("note", action.note, needed=False)
    points = [point_of(held, occurrence) for occurrence in dict.fromkeys(action.occurrences)]
    if len(points) > 1 and any(held.of(point).priority == 1 for point in points):
        raise ActionRefused("an alarm of priority 1 is acknowledged by itself, not among others")
    return tuple(
        _entry(action, What.ACKNOWLEDGED, point, reason=action.note)
        for point in points
        if not held.of(point).core.acknowledged
    )


def _shelve(held: AlarmList, action: Shelve) -> tuple[Entry, ...]:
    _check_text("reason", action.reason, needed=True)
    kept = held.of(action.point)
    _check_shelf(kept, action)
    return (
        _entry(
            action,
            What.SHELVED,
            action.point,
            reason=action.reason,
            until_us=action.until_us,
            second=action.second,
        ),
    )


def _check_shelf(kept: Kept, action: Shelve) -> None:
    first = kept.priority == 1 and bool(kept.occurrence)
    longest_us = SHELF_PRIORITY_1_MAX_US if first else SHELF_MAX_US
    asked_us = action.until_us - action.at_us
    if not 0 < asked_us <= longest_us:
        raise ActionRefused(
            f"shelving for {asked_us // 60_000_000} min; more than 0 and at most "
            f"{longest_us // 60_000_000} min is allowed at this priority"
        )
    second = action.second.strip().casefold()
    if first and (not second or second == action.by.strip().casefold()):
        raise ActionRefused("shelving priority 1 needs the name of a second person")


def _unshelve(held: AlarmList, action: Unshelve) -> tuple[Entry, ...]:
    if held.of(action.point).shelf is None:
        return ()
    return (_entry(action, What.UNSHELVED, action.point, reason=action.reason),)


def _reset(held: AlarmList, action: Reset) -> tuple[Entry, ...]:
    kept = held.of(action.point)
    if kept.orphaned:
        return (_entry(action, What.RESET, action.point, reason=action.reason),)
    if not kept.core.latched:
        return ()
    if kept.core.is_in or not kept.core.acknowledged:
        stands = "its condition is still in" if kept.core.is_in else "nobody acknowledged it"
        raise ActionRefused(f"a latched alarm is reset when it is out and acknowledged; {stands}")
    return (_entry(action, What.RESET, action.point, reason=action.reason),)


def _take_out(held: AlarmList, action: TakeOut) -> tuple[Entry, ...]:
    _check_text("work order", action.order, needed=True)
    _check_text("reason", action.reason, needed=False)
    if held.of(action.point).maintenance is not None:
        return ()
    return (
        _entry(
            action,
            What.TAKEN_OUT,
            action.point,
            reason=action.reason,
            reference=action.order,
        ),
    )


def _put_back(held: AlarmList, action: PutBack) -> tuple[Entry, ...]:
    if held.of(action.point).maintenance is None:
        return ()
    return (_entry(action, What.PUT_BACK, action.point, reason=action.reason),)


def _answer(held: AlarmList, action: Answered) -> tuple[Entry, ...]:
    _check_text("note", action.note, needed=False)
    point = point_of(held, action.occurrence)
    return (_entry(action, What.ANSWERED, point, label=action.label.value, reason=action.note),)


def _plan_outage(held: AlarmList, action: PlanOutage) -> tuple[Entry, ...]:
    _check_text("reason", action.reason, needed=True)
    lasts_us = action.until_us - action.from_us
    if not 0 < lasts_us <= OUTAGE_MAX_US or action.until_us <= action.at_us:
        raise ActionRefused(
            "a planned outage must end after it begins, in the future, and within "
            f"{OUTAGE_MAX_US // 86_400_000_000} days"
        )
    return (
        _entry(
            action,
            What.OUTAGE_PLANNED,
            Point(action.unit, "", ""),
            from_us=action.from_us,
            until_us=action.until_us,
            reason=action.reason,
        ),
    )


_ACTS: dict[type, Callable[[AlarmList, Any], tuple[Entry, ...]]] = {
    Acknowledge: _acknowledge,
    Shelve: _shelve,
    Unshelve: _unshelve,
    Reset: _reset,
    TakeOut: _take_out,
    PutBack: _put_back,
    Answered: _answer,
    PlanOutage: _plan_outage,
}
