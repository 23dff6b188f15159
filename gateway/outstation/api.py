"""The outstation over the API: how it stands, and its point list for the control centre."""

from __future__ import annotations

from fastapi import APIRouter, Response

from gateway.accounts.roles import Act
from gateway.console.rooms import Room
from gateway.outstation.outstation import Outstation, OutstationTold

BASE = "/api/1/outstation"

ACTS: dict[tuple[str, str], Act] = {
    ("GET", BASE): Act.READ,
    ("GET", f"{BASE}/points.csv"): Act.READ,
}


def outstation_room(outstation: Outstation) -> Room:
    """Routes and who may use them."""
    routes = APIRouter(prefix=BASE)

    @routes.get("")
    def told() -> OutstationTold:
        return outstation.told()

    @routes.get("/points.csv")
    def points() -> Response:
        name = f"points-version-{outstation.points.version}.csv"
        headers = {"Content-Disposition": f'attachment; filename="{name}"'}
        return Response(outstation.csv_text(), media_type="text/csv", headers=headers)

    return Room(routes, ACTS)
