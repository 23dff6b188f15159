"""The alarm list over the API: told to whoever asks, acted on by a named person.

Whose name an action gets, and whether the caller may do it, is the gate's business.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Query, Request
from fastapi.responses import PlainTextResponse
from pydantic import AwareDatetime

from gateway.alarms.actions import ActionRefused
from gateway.alarms.performance import TARGETS, Figures, SiteEntry, figures
from gateway.alarms.states import Shown, state_diagram
from gateway.console.alarm_asks import (
    Ask,
    AskAcknowledge,
    AskAnswer,
    AskOutage,
    AskPutBack,
    AskReset,
    AskShelve,
    AskTakeOut,
    AskUnshelve,
    action_of,
    site_of_ask,
)
from gateway.console.alarm_picture import AlarmsTold
from gateway.console.desk import AlarmDesk
from gateway.console.gate import address_of, person_of
from gateway.console.present import Present
from gateway.console.sources import From, SiteQuery, Sources, To, us
from gateway.history.store import HistoryFault

JOURNAL_PAGE_MAX = 5000
"""Entries of one answer; ask again after the last number."""

PERFORMANCE_DAYS_MAX = 400
"""Figures of a longer time are refused: the whole journal of it would be read."""


@dataclass(frozen=True, slots=True)
class JournalPage:
    """next_after: `after` of the next page, None at the end."""

    entries: list[dict[str, Any]]
    next_after: int | None


@dataclass(frozen=True, slots=True)
class Performance:
    """Figures by operating position, and what common practice aims at."""

    figures: list[Figures]
    targets: dict[str, str]


def add_alarms(routes: APIRouter, sources: Sources, present: Present) -> None:
    """All routes about alarms."""
    _add_present(routes, present)
    _add_past(routes, sources)
    _add_actions(routes, sources, present)


def _told(present: Present, site: str | None = None) -> AlarmsTold:
    told = present.told().alarms
    if site is None:
        return told
    sites = [one for one in told.sites if one.site == site]
    alarms = [one for one in told.alarms if one.site == site]
    return AlarmsTold(told.now_us, sites, alarms, [one for one in told.outages if one.site == site])


def _add_present(routes: APIRouter, present: Present) -> None:
    @routes.get("/alarms")
    def alarms(
        site: SiteQuery = None, shown: Annotated[list[Shown] | None, Query()] = None
    ) -> AlarmsTold:
        told = _told(present, site)
        kept = [one for one in told.alarms if shown is None or one.shown in shown]
        return AlarmsTold(told.now_us, told.sites, kept, told.outages)

    @routes.get("/alarms/states", response_class=PlainTextResponse)
    def states() -> PlainTextResponse:
        return PlainTextResponse(state_diagram())


def _add_past(routes: APIRouter, sources: Sources) -> None:
    @routes.get("/sites/{site}/journal")
    def journal(
        site: str,
        after: Annotated[int, Query(ge=0, le=2**62)] = 0,
        start: Annotated[AwareDatetime | None, Query(alias="from")] = None,
        limit: Annotated[int, Query(ge=1, le=JOURNAL_PAGE_MAX)] = 1000,
    ) -> JournalPage:
        _check_site(sources, site)
        start_us = 0 if start is None else us(start)
        with _stored():
            found = sources.desk().journal(site, after, start_us, limit)
        more = found[-1].number if len(found) == limit else None
        return JournalPage([asdict(one) for one in found], more)

    @routes.get("/alarms/performance")
    def performance(start: From, end: To, site: SiteQuery = None) -> Performance:
        from_us, to_us = us(start), us(end)
        if not 0 < to_us - from_us <= PERFORMANCE_DAYS_MAX * 86_400_000_000:
            raise HTTPException(
                422, f"the time must end after it begins, within {PERFORMANCE_DAYS_MAX} days"
            )
        chosen = [one for one in sources.register if site in (None, one)]
        with _stored():
            told = [entry for one in chosen for entry in _whole(sources.desk(), one)]
        position_of = {one: sources.register[one].position for one in chosen}
        return Performance(list(figures(told, from_us, to_us, position_of)), TARGETS)


def _whole(desk: AlarmDesk, site: str) -> Iterator[SiteEntry]:
    """The journal from its beginning: an alarm may have stood since long before."""
    after = 0
    while page := desk.journal(site, after):
        yield from ((site, one) for one in page)
        after = page[-1].number


def _check_site(sources: Sources, site: str) -> None:
    if site not in sources.register:
        raise HTTPException(404, f"no site {site[:32]!r}; see /api/1/sites")


@contextmanager
def _stored() -> Iterator[None]:
    try:
        yield
    except HistoryFault as fault:
        raise HTTPException(503, str(fault)) from fault


def act(sources: Sources, ask: Ask, request: Request) -> str:
    """Does it under the caller's name; the site that it was about. Raises ActionRefused."""
    ask = ask.model_copy(update={"by": person_of(request, ask.by)})
    site = site_of_ask(ask)
    if site not in sources.register:
        raise ActionRefused(f"no site {site[:32]!r}; see /api/1/sites")
    held = sources.desk().lists()[site]
    with _stored():
        sources.desk().act(site, action_of(held, ask, sources.now_us(), address_of(request)))
    return site


def _add_actions(routes: APIRouter, sources: Sources, present: Present) -> None:
    def done(ask: Ask, request: Request) -> AlarmsTold:
        try:
            return _told(present, act(sources, ask, request))
        except ActionRefused as fault:
            raise HTTPException(409, str(fault)) from fault

    @routes.post("/alarms/acknowledge")
    def acknowledge(ask: AskAcknowledge, request: Request) -> AlarmsTold:
        return done(ask, request)

    @routes.post("/alarms/shelve")
    def shelve(ask: AskShelve, request: Request) -> AlarmsTold:
        return done(ask, request)

    @routes.post("/alarms/unshelve")
    def unshelve(ask: AskUnshelve, request: Request) -> AlarmsTold:
        return done(ask, request)

    @routes.post("/alarms/reset")
    def reset(ask: AskReset, request: Request) -> AlarmsTold:
        return done(ask, request)

    @routes.post("/alarms/out-of-service")
    def out_of_service(ask: AskTakeOut, request: Request) -> AlarmsTold:
        return done(ask, request)

    @routes.post("/alarms/in-service")
    def in_service(ask: AskPutBack, request: Request) -> AlarmsTold:
        return done(ask, request)

    @routes.post("/alarms/answer")
    def answer(ask: AskAnswer, request: Request) -> AlarmsTold:
        return done(ask, request)

    @routes.post("/alarms/outage")
    def outage(ask: AskOutage, request: Request) -> AlarmsTold:
        return done(ask, request)
