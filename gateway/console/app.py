"""Console and API as one application: its parts, its gate, and how faults are answered."""

from __future__ import annotations

from collections.abc import Iterable

from fastapi import APIRouter, Depends, FastAPI, Request, Response
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException as StarletteHTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware

from edge.version import __version__
from gateway.console.acts import ACTS
from gateway.console.answering import Answering
from gateway.console.api import router
from gateway.console.entering import OPEN_ENTRANCE, Entrance
from gateway.console.gate import API, Gate
from gateway.console.pages.account import account_routes
from gateway.console.pages.acting import acting_routes
from gateway.console.pages.look import Look
from gateway.console.pages.past import past_routes
from gateway.console.pages.present import present_routes
from gateway.console.pages.results import results_routes
from gateway.console.pages.surface import surface_routes
from gateway.console.present import Present
from gateway.console.rooms import Room
from gateway.console.sources import Sources
from gateway.console.static_files import assets, static_routes
from gateway.console.streaming import stream_routes
from gateway.settings import Console

ZIPPED_BYTES_MIN = 1_000


def create_app(
    sources: Sources,
    console: Console,
    entrance: Entrance = OPEN_ENTRANCE,
    rooms: Iterable[Room] = (),
) -> FastAPI:
    """The application. Nothing of it loads from elsewhere, so the interactive pages are off."""
    rooms = tuple(rooms)
    secure = console.tls_cert is not None
    acts = {**ACTS, **{route: act for room in rooms for route, act in room.acts.items()}}
    gate = Gate(entrance.door, acts, secure)
    app = FastAPI(
        title="seafret gateway",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        dependencies=[Depends(gate)],
    )
    parts = [*_parts(sources, console, entrance, gate, rooms), *(room.routes for room in rooms)]
    for part in parts:
        check_acts(part, gate)
        app.include_router(part)
    described = _described(app)
    check_acts(described, gate)
    app.include_router(described)
    _add_middleware(app, secure)
    return app


def _parts(
    sources: Sources, console: Console, entrance: Entrance, gate: Gate, rooms: tuple[Room, ...]
) -> list[APIRouter]:
    present, found = Present(sources), assets()
    look = Look(sources, present, console, gate, found, rooms)
    return [
        router(sources, present),
        stream_routes(sources, gate),
        static_routes(found),
        present_routes(look),
        surface_routes(look),
        acting_routes(look),
        past_routes(look),
        results_routes(look),
        account_routes(look, entrance.single_sign_on),
        *(room.pages(look) for room in rooms if room.pages is not None),
    ]


def check_acts(routes: APIRouter, gate: Gate) -> None:
    """Every route must say what it needs; one that does not is a bug and stops the start."""
    for route in routes.routes:
        assert isinstance(route, APIRoute), f"{route} does not pass the gate"
        for method in route.methods or ():
            assert (method, route.path) in gate.acts, f"no act for {method} {route.path}"


def _described(app: FastAPI) -> APIRouter:
    routes = APIRouter()

    @routes.get("/api/1/openapi.json", include_in_schema=False)
    def openapi() -> dict[str, object]:
        return app.openapi()

    return routes


def _add_middleware(app: FastAPI, secure: bool) -> None:
    async def refused(request: Request, fault: Exception) -> Response:
        assert isinstance(fault, StarletteHTTPException)
        return _refusal(request, fault)

    app.add_exception_handler(StarletteHTTPException, refused)
    app.add_middleware(GZipMiddleware, minimum_size=ZIPPED_BYTES_MIN, compresslevel=5)
    app.add_middleware(Answering, secure=secure)
    if not secure:
        # A page from elsewhere must not reach this port under a name of its own.
        app.add_middleware(TrustedHostMiddleware, allowed_hosts=["127.0.0.1", "localhost"])


def _refusal(request: Request, fault: StarletteHTTPException) -> Response:
    """JSON for the API; for a page one plain line that a person can read, and the way back."""
    from fastapi.responses import JSONResponse

    headers = dict(fault.headers or {})
    if request.url.path.startswith(API):
        return JSONResponse({"detail": fault.detail}, fault.status_code, headers)
    text = f"{fault.status_code}: {fault.detail}\n"
    return Response(text, fault.status_code, headers, "text/plain; charset=utf-8")
