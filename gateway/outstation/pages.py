"""The page of the outstation: who is connected, what each point says, how the list came about."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Annotated, Literal

from fastapi import APIRouter, HTTPException, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from gateway.books import BookFault
from gateway.console.gate import address_of, person_of, read_form
from gateway.console.pages.look import Context, Look
from gateway.console.pages.surface_csv import csv_answer, utc
from gateway.outstation.changes import Change, HandOverRefused
from gateway.outstation.outstation import Outstation
from gateway.outstation.station import EVENTS_MAX
from gateway.outstation.table import NOT_FOR_TRIP, Of
from gateway.outstation.told import BITS, PointTold, points_told

KindFilter = Annotated[Literal["", "gateway", "site", "unit", "insulator"], Query()]
SiteFilter = Annotated[str, Query(max_length=32)]
Show = Annotated[Literal["all", "doubtful"], Query()]

TOPIC = "outstation"
"""Of the stream: a master came or went. What points say is asked for anew every 20 s."""

POINTS_MAX = 300
CHANGES_MAX = 100
"""Rows on the page; of more it says so, and the CSV has them all."""

BY_MAX, NOTE_MAX = 64, 400

READING_COLUMNS = (
    "address", "type_timed", "subject_kind", "subject", "point", "unit", "reading", "quality",
    "time_tag", "time_doubtful",
)  # fmt: skip

CHANGE_COLUMNS = ("version", "at", "deed", "subject_kind", "subject", "first_address", "points")


def outstation_pages(look: Look, outstation: Outstation) -> APIRouter:
    """The page, its tables as CSV, and its form."""
    routes = APIRouter(include_in_schema=False)

    def page(
        request: Request, of: str, site: str, show: str, refusal: str = "", status: int = 200
    ) -> Response:
        def context(_: object) -> Context:
            asked = {"of": of, "site": site, "show": show, "refusal": refusal}
            return asked | _context(outstation, of, site, show)

        return look.page(request, "outstation.html", context, topics=TOPIC, status=status)

    @routes.get("/outstation")
    def outstation_page(
        request: Request, of: KindFilter = "", site: SiteFilter = "", show: Show = "all"
    ) -> Response:
        return page(request, of, look.known_site(site) if site else "", show)

    _add_tables(routes, look, outstation)

    @routes.post("/outstation/handed-over")
    async def handed_over(request: Request) -> Response:
        form = await read_form(request)
        try:
            version, by, note = _asked(form)
            who, where = person_of(request, by or None), address_of(request)
            await run_in_threadpool(outstation.hand_over, version, who, note, where)
        except HandOverRefused as fault:
            return page(request, "", "", "all", str(fault), 409)
        except HTTPException as fault:
            if fault.status_code != 422:
                raise
            return page(request, "", "", "all", str(fault.detail), 422)
        except BookFault as fault:
            return page(request, "", "", "all", str(fault), 503)
        return Response(status_code=303, headers={"Location": "/outstation"})

    return routes


def _asked(form: dict[str, str]) -> tuple[int, str, str]:
    """Version, name and note of a form. Raises HandOverRefused."""
    text, by, note = (form.get(name, "").strip() for name in ("version", "by", "note"))
    if not (text.isascii() and text.isdecimal() and len(text) < 10):
        raise HandOverRefused("the version is no number; give that of the list which was sent")
    if len(by) > BY_MAX or len(note) > NOTE_MAX or not (by + note).isprintable():
        raise HandOverRefused(
            f"name or note too long, or not plain; {BY_MAX} and {NOTE_MAX} characters at most"
        )
    return int(text), by, note


def _context(outstation: Outstation, of: str, site: str, show: str) -> Context:
    found = points_told(outstation, of, site, show == "doubtful")
    points = list(islice(found, POINTS_MAX))
    told = outstation.told()
    return {
        "told": told,
        "masters": outstation.server.masters_told(),
        "visits": outstation.server.visits(),
        "points": points,
        "more": sum(1 for _ in found),
        "bits": dict(BITS.values()),
        "kinds": [one.value for one in Of],
        "changes": list(reversed(outstation.changes[-CHANGES_MAX:])),
        "changes_more": max(0, len(outstation.changes) - CHANGES_MAX),
        "since": [one for one in outstation.changes if one.version > told.handed_over],
        "handed_over": list(reversed(outstation.handed_over)),
        "events_max": EVENTS_MAX,
        "not_for_trip": NOT_FOR_TRIP,
    }


def _add_tables(routes: APIRouter, look: Look, outstation: Outstation) -> None:
    @routes.get("/outstation/readings.csv")
    def readings(of: KindFilter = "", site: SiteFilter = "", show: Show = "all") -> Response:
        found = points_told(
            outstation, of, look.known_site(site) if site else "", show == "doubtful"
        )
        return csv_answer("outstation-readings.csv", READING_COLUMNS, list(_reading_rows(found)))

    @routes.get("/outstation/changes.csv")
    def changes() -> Response:
        rows = list(_change_rows(outstation.changes))
        return csv_answer("outstation-changes.csv", CHANGE_COLUMNS, rows)


def _reading_rows(points: Iterable[PointTold]) -> Iterator[tuple[object, ...]]:
    """What nothing was ever heard of is empty, and never 0."""
    for one in points:
        said = "" if one.said is None else float(f"{one.said:.7g}")
        at = utc(one.at_us) if one.at_us else ""
        quality, doubtful = "+".join(one.bits) or "good", "yes" if one.time_doubtful else "no"
        yield (
            one.address, one.type_timed, one.of, one.subject, one.point, one.unit, said, quality,
            at, doubtful,
        )  # fmt: skip


def _change_rows(found: Iterable[Change]) -> Iterator[tuple[object, ...]]:
    for one in found:
        at = utc(one.at_us)
        deed, of = one.deed.value, one.of.value
        yield (one.version, at, deed, of, one.name, one.first_address, one.points)
