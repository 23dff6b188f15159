"""What the API takes to act on an alarm, checked at the border, as actions of the alarm list."""

from __future__ import annotations

from typing import Annotated, TypedDict

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from gateway.alarms.actions import (
    SHELF_DEFAULT_US,
    Acknowledge,
    Action,
    ActionRefused,
    Answer,
    Answered,
    PlanOutage,
    PutBack,
    Reset,
    Shelve,
    TakeOut,
    Unshelve,
    point_of,
)
from gateway.alarms.journal import Point
from gateway.alarms.memory import AlarmList
from gateway.console.alarm_picture import ID_MARK
from gateway.console.sources import us

IDS_MAX = 200
"""Alarms acknowledged at once: those that one screen shows."""

_CLEAN = r"^[^\x00-\x1f\x7f-\x9f]*$"
Text = Annotated[str, Field(max_length=400, pattern=_CLEAN)]
PersonName = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[^\x00-\x1f\x7f-\x9f]+$")]
AlarmId = Annotated[str, Field(min_length=3, max_length=200, pattern=_CLEAN)]
SiteName = Annotated[str, Field(pattern=r"^[a-z0-9-]{1,32}$")]


class _Ask(BaseModel):
    """by: who acts; must be given where no accounts are in force, else it is the caller."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    by: PersonName | None = None


class AskAcknowledge(_Ask):
    """ids: of occurrences, all of one site."""

    ids: Annotated[list[AlarmId], Field(min_length=1, max_length=IDS_MAX)]
    note: Text = ""


class _AskOne(_Ask):
    """id: of an occurrence, or of a point (`unit/alarm/subject`)."""

    id: AlarmId
    reason: Text = ""


class AskShelve(_AskOne):
    """for_s: how long; second: another person's name, needed at priority 1."""

    for_s: Annotated[int, Field(ge=1, le=43_200)] = SHELF_DEFAULT_US // 1_000_000
    second: Annotated[str, Field(max_length=64, pattern=_CLEAN)] = ""


class AskUnshelve(_AskOne):
    """Before its time is up."""


class AskReset(_AskOne):
    """Of a latched alarm that is out and acknowledged."""


class AskTakeOut(_AskOne):
    """order: number of the work order."""

    order: Annotated[str, Field(min_length=1, max_length=64, pattern=_CLEAN)]


class AskPutBack(_AskOne):
    """Into service again."""


class AskAnswer(_Ask):
    """label: what the person on site says."""

    id: AlarmId
    label: Answer
    note: Text = ""


class AskOutage(_Ask):
    """A planned outage of a unit, or of the whole site where `unit` is left out."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
    site: SiteName
    unit: Annotated[str, Field(max_length=65, pattern=_CLEAN)] = ""
    start: Annotated[AwareDatetime, Field(alias="from")]
    end: Annotated[AwareDatetime, Field(alias="to")]
    reason: Annotated[str, Field(min_length=1, max_length=400, pattern=_CLEAN)]


Ask = (
    AskAcknowledge
    | AskShelve
    | AskUnshelve
    | AskReset
    | AskTakeOut
    | AskPutBack
    | AskAnswer
    | AskOutage
)


def site_of_ask(ask: Ask) -> str:
    """The site that an ask is about. Raises ActionRefused where it names several, or none."""
    if isinstance(ask, AskOutage):
        return ask.site
    ids = ask.ids if isinstance(ask, AskAcknowledge) else [ask.id]
    sites = {_site_of_id(one) for one in ids}
    if len(sites) != 1:
        raise ActionRefused(f"ids of {len(sites)} sites; acknowledge those of one site at a time")
    return sites.pop()


def _site_of_id(name: str) -> str:
    return (name.partition("/")[0] if "/" in name else name).rpartition(ID_MARK)[0]


def number_of(name: str) -> int:
    """The running number of an occurrence's id. Raises ActionRefused."""
    number = name.rpartition(ID_MARK)[2]
    if not (number.isascii() and number.isdecimal() and len(number) < 16):
        raise ActionRefused(f"id {name!r} is not of an occurrence; one is like north-head.17")
    return int(number)


def point_of_id(held: AlarmList, name: str) -> Point:
    """The alarm that an id means, by occurrence or by point. Raises ActionRefused."""
    if "/" not in name:
        return point_of(held, number_of(name))
    unit, *rest = name.split("/")
    if len(rest) != 2 or not rest[0]:
        raise ActionRefused(f"id {name!r}; a point is unit/alarm/subject")
    return Point(unit, *rest)


class _Who(TypedDict):
    at_us: int
    by: str
    address: str


def action_of(held: AlarmList, ask: Ask, at_us: int, address: str) -> Action:
    """The action of an ask that names its person. Raises ActionRefused where it names no alarm."""
    assert ask.by is not None, "the gate has named the person"
    who = _Who(at_us=at_us, by=ask.by, address=address)
    match ask:
        case AskAcknowledge():
            numbers = tuple(number_of(one) for one in ask.ids)
            return Acknowledge(occurrences=numbers, note=ask.note, **who)
        case AskAnswer():
            return Answered(occurrence=number_of(ask.id), label=ask.label, note=ask.note, **who)
        case AskOutage():
            from_us, until_us = us(ask.start), us(ask.end)
            return PlanOutage(
                unit=ask.unit, from_us=from_us, until_us=until_us, reason=ask.reason, **who
            )
    point = point_of_id(held, ask.id)
    match ask:
        case AskShelve():
            return Shelve(
                point=point,
                until_us=at_us + ask.for_s * 1_000_000,
                reason=ask.reason,
                second=ask.second,
                **who,
            )
        case AskTakeOut():
            return TakeOut(point=point, order=ask.order, reason=ask.reason, **who)
        case AskUnshelve():
            return Unshelve(point=point, reason=ask.reason, **who)
        case AskReset():
            return Reset(point=point, reason=ask.reason, **who)
        case AskPutBack():
            return PutBack(point=point, reason=ask.reason, **who)
