"""Limits over the API: read by all, proposed and approved by engineers, never by one alone."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Request
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from edge.settings import AlarmPart
from gateway.accounts.roles import Act
from gateway.books import BookFault
from gateway.console.gate import address_of, person_of
from gateway.console.pages.look import Look
from gateway.console.rooms import Door, Room
from gateway.console.sources import From, To, us
from gateway.history.store import HistoryFault
from gateway.limits.changing import (
    Approve,
    Change,
    ChangeRefused,
    Propose,
    RollBack,
    Withdraw,
)
from gateway.limits.desk import LimitsDesk
from gateway.limits.in_force import InForce
from gateway.limits.page_acts import add_acts
from gateway.limits.pages import Pages, add_pages
from gateway.limits.told import (
    LimitTold,
    PreviewTold,
    UnitTold,
    VersionTold,
    limits_told,
    preview_told,
    unit_told,
    version_told,
)
from gateway.limits.versions import Version

BASE = "/api/1/limits"
_CLEAN = r"^[^\x00-\x1f\x7f-\x9f]*$"
Text = Annotated[str, Field(min_length=1, max_length=400, pattern=_CLEAN)]
Number = Annotated[int, Field(ge=1, le=1_000_000)]
PersonName = Annotated[str | None, Field(max_length=64, pattern=_CLEAN)]


class _Ask(BaseModel):
    """by: who acts; needed only while there are no accounts."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    by: PersonName = None


class AskProposal(_Ask):
    """alarms: the whole content by alarm: what is not named stands at its default."""

    reason: Text
    alarms: Annotated[dict[str, AlarmPart], Field(max_length=64)]


class AskPreview(BaseModel):
    """What a content would have done, before anybody proposes it."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
    alarms: Annotated[dict[str, AlarmPart], Field(max_length=64)]
    start: Annotated[AwareDatetime, Field(alias="from")]
    end: Annotated[AwareDatetime, Field(alias="to")]


class AskApproval(_Ask):
    """By another person than the author."""

    version: Number
    reason: Annotated[str, Field(max_length=400, pattern=_CLEAN)] = ""


class AskRollBack(_Ask):
    """to: a version that was in force, 0 the unit's settings file; left out: the one before."""

    reason: Text
    to: Annotated[int | None, Field(ge=0, le=1_000_000)] = None


ACTS: dict[tuple[str, str], Act] = {
    ("GET", BASE): Act.READ,
    ("GET", f"{BASE}/{{unit}}"): Act.READ,
    ("GET", f"{BASE}/{{unit}}/{{version}}"): Act.READ,
    ("GET", f"{BASE}/{{unit}}/{{version}}/preview"): Act.READ,
    ("POST", f"{BASE}/{{unit}}/preview"): Act.PROPOSE_LIMITS,
    ("POST", f"{BASE}/{{unit}}/propose"): Act.PROPOSE_LIMITS,
    ("POST", f"{BASE}/{{unit}}/withdraw"): Act.PROPOSE_LIMITS,
    ("POST", f"{BASE}/{{unit}}/approve"): Act.APPROVE_LIMITS,
    ("POST", f"{BASE}/{{unit}}/roll-back"): Act.APPROVE_LIMITS,
    ("GET", "/limits"): Act.READ,
    ("GET", "/limits/{unit}"): Act.READ,
    ("GET", "/limits/{unit}/versions/{number}"): Act.READ,
    ("GET", "/limits/{unit}/propose"): Act.PROPOSE_LIMITS,
    ("POST", "/limits/{unit}/draft"): Act.PROPOSE_LIMITS,
    ("POST", "/limits/{unit}/propose"): Act.PROPOSE_LIMITS,
    ("POST", "/limits/{unit}/withdraw"): Act.PROPOSE_LIMITS,
    ("POST", "/limits/{unit}/approve"): Act.APPROVE_LIMITS,
    ("POST", "/limits/{unit}/roll-back"): Act.APPROVE_LIMITS,
}

TEMPLATES = str(Path(__file__).with_name("templates"))


def limits_room(desk: LimitsDesk) -> Room:
    """Routes and pages, who may use them, and what limits are in force for plots."""
    routes = APIRouter(prefix=BASE)
    _add_reading(routes, desk)
    _add_changing(routes, desk)
    in_force = InForce(desk)

    def pages(look: Look) -> APIRouter:
        shown, of = APIRouter(include_in_schema=False), Pages(look, desk, in_force)
        add_pages(shown, of)
        add_acts(shown, of)
        return shown

    doors = (Door("Limits", "/limits"),)
    return Room(routes, ACTS, doors, TEMPLATES, pages, in_force.lines)


@contextmanager
def _ruled() -> Iterator[None]:
    try:
        yield
    except ChangeRefused as fault:
        raise HTTPException(409, str(fault)) from fault
    except (BookFault, HistoryFault) as fault:
        raise HTTPException(503, str(fault)) from fault


def _known(desk: LimitsDesk, unit: str) -> str:
    if not desk.has(unit):
        raise HTTPException(404, f"no unit {unit[:65]!r}; see {BASE}")
    return unit


def _version(desk: LimitsDesk, unit: str, number: int) -> Version:
    found = desk.of(_known(desk, unit)).of(number)
    if found is None:
        raise HTTPException(404, f"{unit} has no version {number}; see {BASE}/{unit}")
    return found


def _add_reading(routes: APIRouter, desk: LimitsDesk) -> None:
    @routes.get("")
    def units() -> list[UnitTold]:
        return [unit_told(desk, unit) for unit in desk.units()]

    @routes.get("/{unit}")
    def unit(unit: str) -> UnitTold:
        return unit_told(desk, _known(desk, unit))

    @routes.get("/{unit}/{version}")
    def limits(unit: str, version: int) -> list[LimitTold]:
        with _ruled():
            return limits_told(desk, _version(desk, unit, version))

    @routes.get("/{unit}/{version}/preview")
    def would(unit: str, version: int, start: From, end: To) -> PreviewTold:
        with _ruled():
            found = desk.preview(_version(desk, unit, version), us(start), us(end))
        return preview_told(found, version)


def _add_changing(routes: APIRouter, desk: LimitsDesk) -> None:
    def changed(asked: Change) -> VersionTold:
        with _ruled():
            return version_told(desk.change(asked))

    def who(unit: str, ask: _Ask, request: Request, reason: str = "") -> dict[str, Any]:
        return {
            "at_us": desk.now_us(),
            "by": person_of(request, ask.by),
            "unit": _known(desk, unit),
            "address": address_of(request),
            "reason": reason,
        }

    @routes.post("/{unit}/preview")
    def try_out(unit: str, ask: AskPreview) -> PreviewTold:
        drafted = Version(_known(desk, unit), 1, _plain(ask.alarms), "-", "-", 0)
        with _ruled():
            return preview_told(desk.preview(drafted, us(ask.start), us(ask.end)), 0)

    @routes.post("/{unit}/propose")
    def propose(unit: str, ask: AskProposal, request: Request) -> VersionTold:
        person = who(unit, ask, request, ask.reason)
        return changed(Propose(alarms=_plain(ask.alarms), **person))

    @routes.post("/{unit}/approve")
    def approve(unit: str, ask: AskApproval, request: Request) -> VersionTold:
        return changed(Approve(version=ask.version, **who(unit, ask, request, ask.reason)))

    @routes.post("/{unit}/withdraw")
    def withdraw(unit: str, ask: AskApproval, request: Request) -> VersionTold:
        return changed(Withdraw(version=ask.version, **who(unit, ask, request, ask.reason)))

    @routes.post("/{unit}/roll-back")
    def roll_back(unit: str, ask: AskRollBack, request: Request) -> VersionTold:
        return changed(RollBack(to=ask.to, **who(unit, ask, request, ask.reason)))


def _plain(alarms: dict[str, AlarmPart]) -> dict[str, Any]:
    return {name: part.model_dump(mode="json") for name, part in alarms.items()}
