"""Notices over the API: whom they go to, whether they arrive, when the next test is due."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, HTTPException, Request
from pydantic import BaseModel, ConfigDict, Field

from gateway.accounts.roles import Act
from gateway.books import BookFault
from gateway.console.gate import address_of, person_of
from gateway.console.rooms import Door, Room
from gateway.notices.desk import NoticesDesk, TrialRefused
from gateway.notices.pages import notices_pages
from gateway.notices.told import NoticesTold, notices_told

BASE = "/api/1/notices"

ACTS: dict[tuple[str, str], Act] = {
    ("GET", BASE): Act.READ,
    ("POST", f"{BASE}/trial"): Act.LIAISE,
    ("GET", "/notices"): Act.READ,
    ("POST", "/notices/trial"): Act.LIAISE,
}

TEMPLATES = str(Path(__file__).with_name("templates"))

_Plain = Annotated[str, Field(max_length=200, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")]


class AskTrial(BaseModel):
    """to: one recipient, left out: all. by: who asks; where accounts are in force, the caller."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    to: _Plain = ""
    by: Annotated[str, Field(max_length=64, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")] | None = None


def notices_room(desk: NoticesDesk) -> Room:
    """Routes and pages, and who may use them; addresses are not told."""
    routes = APIRouter(prefix=BASE)

    @routes.get("")
    def told() -> NoticesTold:
        return notices_told(desk)

    @routes.post("/trial")
    def trial(ask: AskTrial, request: Request) -> NoticesTold:
        try:
            desk.send_trial(person_of(request, ask.by), address_of(request), ask.to)
        except TrialRefused as fault:
            raise HTTPException(409, str(fault)) from fault
        except BookFault as fault:
            raise HTTPException(503, str(fault)) from fault
        return notices_told(desk)

    doors = (Door("Notices", "/notices"),)
    return Room(routes, ACTS, doors, TEMPLATES, lambda look: notices_pages(look, desk))
