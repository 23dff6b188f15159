"""The API, `/api/1/...`. Records go out as they are: integers, the unit in the name.

Ages and times are microseconds, UTC since 1970-01-01; ranges of time are given in RFC 3339 with a
zone, their end excluded.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Path, Query, Response

from edge.records import Capture, Condition, IntervalRow, Span, WeatherRow
from edge.version import __version__
from gateway.alarms.journal import read_entry
from gateway.console.alarm_api import add_alarms
from gateway.console.answers import AnswerLabel, answer_labels
from gateway.console.picture import (
    ConditionTold,
    InsulatorTold,
    Picture,
    SiteTold,
    UnitTold,
)
from gateway.console.present import Present
from gateway.console.sources import From, Limit, SiteQuery, Sources, To, us
from gateway.history.store import History, HistoryFault, SiteReader


@dataclass(frozen=True, slots=True)
class Health:
    """The gateway's own state. refused, noticed: since it started."""

    version: str
    now_us: int
    broker_connected: bool
    store_fault: str
    refused: int
    noticed: int


@dataclass(frozen=True, slots=True)
class IntervalPage:
    """next_us: `from` of the next page, None at the end."""

    rows: list[IntervalRow]
    next_us: int | None


@dataclass(frozen=True, slots=True)
class WeatherPage:
    """Weather rows of every unit of the site, in order of time."""

    rows: list[WeatherRow]
    next_us: int | None


@dataclass(frozen=True, slots=True)
class Exposure:
    """Exact sums over `rows` rows; the pairs are positive and negative half-cycles."""

    site: str
    insulator: str
    from_us: int
    to_us: int
    sums: dict[str, int]


REFUSALS: dict[int | str, dict[str, Any]] = {
    400: {"description": "the body is no JSON, or the request names another host"},
    401: {"description": "nobody is signed in"},
    403: {"description": "the caller's role does not allow it, or the page is from elsewhere"},
    404: {"description": "there is no such site"},
    409: {"description": "the rules of the alarm list do not allow it; the text says what they do"},
    413: {"description": "the request is too long"},
    503: {"description": "the history cannot be read or written now"},
}


def router(sources: Sources, present: Present) -> APIRouter:
    """The routes over their sources."""
    routes = APIRouter(prefix="/api/1", responses=REFUSALS)
    _add_present(routes, sources, present)
    _add_past(routes, sources)
    _add_kept(routes, sources)
    add_alarms(routes, sources, present)
    return routes


def _add_present(routes: APIRouter, sources: Sources, present: Present) -> None:
    def now() -> Picture:
        return present.told().picture

    @routes.get("/health")
    def health() -> Health:
        standing, summary = sources.standing(), sources.summary()
        return Health(
            __version__,
            sources.now_us(),
            standing.broker_connected,
            standing.store_fault,
            summary.refused,
            summary.noticed,
        )

    @routes.get("/sites")
    def sites() -> list[SiteTold]:
        return list(now().sites)

    @routes.get("/units")
    def units(site: SiteQuery = None) -> list[UnitTold]:
        return [one for one in now().units if site in (None, one.site)]

    @routes.get("/insulators")
    def insulators(site: SiteQuery = None) -> list[InsulatorTold]:
        return [one for one in now().insulators if site in (None, one.site)]

    @routes.get("/conditions")
    def conditions(
        site: SiteQuery = None, condition: Condition | None = None
    ) -> list[ConditionTold]:
        return [
            one
            for one in now().conditions
            if site in (None, one.site) and condition in (None, one.change.condition)
        ]


def _add_past(routes: APIRouter, sources: Sources) -> None:
    @routes.get("/sites/{site}/intervals")
    def intervals(
        site: str,
        insulator: Annotated[str, Query(min_length=1, max_length=48)],
        start: From,
        end: To,
        span: Annotated[list[Span] | None, Query()] = None,
        limit: Limit = 1000,
    ) -> IntervalPage:
        spans = tuple(span or (Span.MINUTE, Span.MERGED))
        with reading(sources.history, site) as reader:
            rows = reader.intervals(insulator, us(start), us(end), spans, limit + 1)
        kept, next_us = _page([row.start_us for row in rows], limit)
        return IntervalPage(rows[:kept], next_us)

    @routes.get("/sites/{site}/weather")
    def weather(site: str, start: From, end: To, limit: Limit = 1000) -> WeatherPage:
        with reading(sources.history, site) as reader:
            rows = [one.record for one in reader.weather(us(start), us(end), limit + 1)]
        kept, next_us = _page([row.start_us for row in rows], limit)
        return WeatherPage(rows[:kept], next_us)

    @routes.get("/sites/{site}/exposure")
    def exposure(
        site: str,
        insulator: Annotated[str, Query(min_length=1, max_length=48)],
        start: From,
        end: To,
    ) -> Exposure:
        from_us, to_us = us(start), us(end)
        with reading(sources.history, site) as reader:
            sums = reader.exposure(insulator, from_us, to_us)
        return Exposure(site, insulator, from_us, to_us, sums)


def _add_kept(routes: APIRouter, sources: Sources) -> None:
    """What people answered, and waveforms that were captured."""

    @routes.get("/sites/{site}/labels")
    def labels(site: str) -> list[AnswerLabel]:
        with reading(sources.history, site) as reader:
            lines = reader.journal()
            found = [read_entry(one.body) for one in lines]
            while lines:
                lines = reader.journal(lines[-1].number)
                found += [read_entry(one.body) for one in lines]
        return answer_labels(site, found)

    @routes.get("/sites/{site}/captures")
    def captures(
        site: str,
        insulator: Annotated[str, Query(min_length=1, max_length=48)],
        start: From,
        end: To,
    ) -> list[Capture]:
        with reading(sources.history, site) as reader:
            found = [one.record for one in reader.captures(us(start), us(end))]
        return [one for one in found if one.insulator == insulator]

    @routes.get(
        "/sites/{site}/captures/{content_sha}",
        response_class=Response,
        responses={200: {"content": {"application/octet-stream": {}}}},
    )
    def capture(
        site: str, content_sha: Annotated[str, Path(pattern=r"^[0-9a-f]{64}$")]
    ) -> Response:
        with reading(sources.history, site) as reader:
            content = reader.capture_bytes(content_sha)
        if content is None:
            raise HTTPException(404, "no such capture, or its parts have not all arrived yet")
        name = f'attachment; filename="{content_sha[:16]}.cff"'
        return Response(
            content, media_type="application/octet-stream", headers={"Content-Disposition": name}
        )


def _page(starts: list[int], limit: int) -> tuple[int, int | None]:
    """How many rows to give, and where the next page begins; equal starts stay on one page.

    More rows of one start than a page holds are cut: no unit sends them.
    """
    if len(starts) <= limit:
        return len(starts), None
    beyond = starts[limit]
    kept = starts.index(beyond)
    return (kept, beyond) if kept else (limit, beyond + 1)


@contextmanager
def reading(history: History, site: str) -> Iterator[SiteReader]:
    """A reader of a site, closed afterwards; 404 where it has no history, 503 where it cannot be
    read."""
    if site not in history.sites():
        raise HTTPException(404, f"no history of a site {site[:32]!r}; see /api/1/sites")
    try:
        reader = history.reader(site)
    except HistoryFault as fault:
        raise HTTPException(503, str(fault)) from fault
    try:
        yield reader
    except HistoryFault as fault:
        raise HTTPException(503, str(fault)) from fault
    finally:
        reader.close()
