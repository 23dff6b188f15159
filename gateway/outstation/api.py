"""The outstation over the API: how it stands, who is connected, its points and their list."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, HTTPException, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from gateway.accounts.roles import Act
from gateway.books import BookFault
from gateway.console.gate import address_of, person_of
from gateway.console.rooms import Door, Room
from gateway.outstation.changes import Change, HandedOver, HandOverRefused
from gateway.outstation.outstation import Outstation, OutstationTold
from gateway.outstation.pages import KindFilter, SiteFilter, outstation_pages
from gateway.outstation.server import MasterTold, Visit
from gateway.outstation.told import PointTold, points_told

BASE = "/api/1/outstation"

ACTS: dict[tuple[str, str], Act] = {
    ("GET", BASE): Act.READ,
    ("GET", f"{BASE}/masters"): Act.READ,
    ("GET", f"{BASE}/points"): Act.READ,
    ("GET", f"{BASE}/points.csv"): Act.READ,
    ("GET", f"{BASE}/changes"): Act.READ,
    ("POST", f"{BASE}/handed-over"): Act.LIAISE,
    ("GET", "/outstation"): Act.READ,
    ("GET", "/outstation/readings.csv"): Act.READ,
    ("GET", "/outstation/changes.csv"): Act.READ,
    ("POST", "/outstation/handed-over"): Act.LIAISE,
}

TEMPLATES = str(Path(__file__).with_name("templates"))

POINTS_MAX = 2_000
"""Points of one answer; `after` goes on from the last address."""

After = Annotated[int, Query(ge=0, lt=1 << 24)]


@dataclass(frozen=True, slots=True)
class MastersTold:
    """visits: connections that are over, since the gateway's start, the newest first."""

    masters: list[MasterTold]
    visits: list[Visit]


@dataclass(frozen=True, slots=True)
class ChangesTold:
    """version: of the list now. changes, handed_over: the oldest first."""

    version: int
    changes: list[Change]
    handed_over: list[HandedOver]


class AskHandedOver(BaseModel):
    """version: of the point list that the control centre has now. note: by which way, or why."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    version: Annotated[int, Field(ge=1, lt=1 << 31)]
    note: Annotated[str, Field(max_length=400, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")] = ""
    by: Annotated[str, Field(max_length=64, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")] | None = None


def outstation_room(outstation: Outstation) -> Room:
    """Routes and pages, and who may use them."""
    routes = APIRouter(prefix=BASE)
    _add_reading(routes, outstation)

    @routes.post("/handed-over")
    def handed_over(ask: AskHandedOver, request: Request) -> HandedOver:
        try:
            who, where = person_of(request, ask.by), address_of(request)
            return outstation.hand_over(ask.version, who, ask.note, where)
        except HandOverRefused as fault:
            raise HTTPException(409, str(fault)) from fault
        except BookFault as fault:
            raise HTTPException(503, str(fault)) from fault

    doors = (Door("Outstation", "/outstation"),)
    return Room(routes, ACTS, doors, TEMPLATES, lambda look: outstation_pages(look, outstation))


def _add_reading(routes: APIRouter, outstation: Outstation) -> None:
    @routes.get("")
    def told() -> OutstationTold:
        return outstation.told()

    @routes.get("/masters")
    def masters() -> MastersTold:
        return MastersTold(outstation.server.masters_told(), outstation.server.visits())

    @routes.get("/points")
    def points(of: KindFilter = "", site: SiteFilter = "", after: After = 0) -> list[PointTold]:
        found = (one for one in points_told(outstation, of, site) if one.address > after)
        return list(islice(found, POINTS_MAX))

    @routes.get("/points.csv")
    def points_csv() -> Response:
        name = f"points-version-{outstation.points.version}.csv"
        headers = {"Content-Disposition": f'attachment; filename="{name}"'}
        return Response(outstation.csv_text(), media_type="text/csv", headers=headers)

    @routes.get("/changes")
    def changes() -> ChangesTold:
        return ChangesTold(outstation.points.version, outstation.changes, outstation.handed_over)
