"""Pages of the past: journal, performance, hand-over, labels, about."""

from __future__ import annotations

import platform
from collections.abc import Iterator
from typing import Annotated, Any, Literal

from fastapi import APIRouter, HTTPException, Query, Request, Response

from edge.decide.alarm_table import MONITORING_ONLY
from gateway.alarms.journal import Entry
from gateway.alarms.messages import MessageClass
from gateway.alarms.performance import TARGETS, figures
from gateway.alarms.states import state_diagram
from gateway.console.alarm_rows import TABS, listed
from gateway.console.answers import HEADER, VERSION, answer_labels
from gateway.console.journal_rows import GROUPS, Line, lines_of
from gateway.console.pages.look import Context, Look
from gateway.console.pages.surface_csv import csv_answer, utc
from gateway.console.picture import Liveliness
from gateway.history.store import HistoryFault
from gateway.trends.columns import DAY_US, HOUR_US

JOURNAL_BACK_US = 7 * DAY_US
LINES_SHOWN = 300
"""Lines of the journal on one page, the newest; the CSV has the whole time asked for."""

DaysQuery = Annotated[int, Query(alias="days", ge=1, le=400)]
GroupQuery = Annotated[Literal["all", "calls", "people", "conditions"], Query(alias="show")]
SiteFilter = Annotated[str | None, Query(alias="site", max_length=32)]
HoursQuery = Annotated[int, Query(alias="hours", ge=1, le=72)]


def past_routes(look: Look) -> APIRouter:
    """The routes of these pages."""
    routes = APIRouter(include_in_schema=False)
    _add_journal(routes, look)
    _add_performance(routes, look)
    _add_hand_over(routes, look)
    _add_about(routes, look)
    return routes


def entries_since(look: Look, site: str, start_us: int) -> Iterator[Entry]:
    """A site's journal from a time on. 503 where it cannot be read."""
    after = 0
    try:
        while page := look.sources.desk().journal(site, after, start_us):
            yield from page
            after = page[-1].number
    except HistoryFault as fault:
        raise HTTPException(503, str(fault)) from fault


def _sites(look: Look, site: str | None) -> list[str]:
    return list(look.sources.register) if site is None else [look.known_site(site)]


def _lines(look: Look, site: str | None, start_us: int, group: str) -> list[Line]:
    """The newest first."""
    found = [
        line
        for one in _sites(look, site)
        for line in lines_of(one, entries_since(look, one, start_us))
        if line.entry.what in GROUPS[group]
    ]
    return sorted(found, key=lambda line: (-line.entry.at_us, line.site, -line.entry.number))


def _add_journal(routes: APIRouter, look: Look) -> None:
    @routes.get("/journal")
    def journal(
        request: Request, site: SiteFilter = None, show: GroupQuery = "all", days: DaysQuery = 2
    ) -> Response:
        def context(told: Any) -> Context:
            lines = _lines(look, site, told.picture.now_us - days * DAY_US, show)
            return {
                "lines": lines[:LINES_SHOWN],
                "more": max(0, len(lines) - LINES_SHOWN),
                "site": site,
                "show": show,
                "days": days,
                "groups": tuple(GROUPS),
            }

        return look.page(request, "journal.html", context, topics="alarms")

    @routes.get("/journal.csv")
    def journal_csv(
        site: SiteFilter = None, show: GroupQuery = "all", days: DaysQuery = 2
    ) -> Response:
        lines = _lines(look, site, look.sources.now_us() - days * DAY_US, show)
        header = ("at", "site", "number", "what", "about", "who", "address", "moved", "detail")
        rows = (
            (
                utc(line.entry.at_us), line.site, line.entry.number, line.what, line.about,
                line.entry.who, line.entry.address, line.moved, line.detail,
            )
            for line in lines
        )  # fmt: skip
        return csv_answer("journal.csv", header, rows)

    @routes.get("/labels.csv")
    def labels(site: Annotated[str, Query(max_length=32)]) -> Response:
        found = answer_labels(look.known_site(site), entries_since(look, site, 0))
        rows = (
            (
                utc(one.start_us), utc(one.end_us), one.subject, one.kind.value, one.confidence,
                one.who, VERSION, one.note,
            )
            for one in found
        )  # fmt: skip
        return csv_answer(f"{site}-labels.csv", HEADER, rows)


def _add_performance(routes: APIRouter, look: Look) -> None:
    @routes.get("/performance")
    def performance(request: Request, days: DaysQuery = 30) -> Response:
        def context(told: Any) -> Context:
            end_us = told.picture.now_us
            entries = [
                (site, entry)
                for site in look.sources.register
                for entry in entries_since(look, site, 0)
            ]
            positions = {name: one.position for name, one in look.sources.register.items()}
            found = figures(entries, end_us - days * DAY_US, end_us, positions)
            return {"figures": found, "targets": TARGETS, "days": days}

        return look.page(request, "performance.html", context)


def _add_hand_over(routes: APIRouter, look: Look) -> None:
    @routes.get("/hand-over")
    def hand_over(request: Request, hours: HoursQuery = 12) -> Response:
        def context(told: Any) -> Context:
            start_us = told.picture.now_us - hours * HOUR_US
            seen = told.picture
            tabs = {tab: listed(told, tab, None, MessageClass.ALARM) for tab in TABS}
            lists = look.sources.desk().lists()
            return {
                "hours": hours,
                "start_us": start_us,
                "tabs": tabs,
                "tasks": listed(told, "active", None, MessageClass.TASK),
                "blind_units": [u for u in seen.units if u.liveliness is not Liveliness.LIVE],
                "blind": [one for one in seen.insulators if not one.watched],
                "outages": [
                    (site, one)
                    for site, held in lists.items()
                    for one in held.outages
                    if one.until_us > seen.now_us
                ],
                "lines": [
                    line
                    for group in ("calls", "people")
                    for line in _lines(look, None, start_us, group)
                ][:LINES_SHOWN],
            }

        return look.page(request, "hand_over.html", context, topics="*")


def _add_about(routes: APIRouter, look: Look) -> None:
    @routes.get("/about")
    def about(request: Request) -> Response:
        def context(told: Any) -> Context:
            return {
                "python": platform.python_version(),
                "machine": f"{platform.system()} {platform.machine()}",
                "units": told.picture.units,
                "assets_list": look.assets.values(),
                "refused": look.sources.summary().refused,
                "noticed": look.sources.summary().noticed,
                "readers": look.sources.feed.readers,
                "diagram": state_diagram(),
                "caution": MONITORING_ONLY,
                "sites": look.sources.register,
                "zone": look.console.time_zone or "the machine's own",
                "secure": look.gate.secure,
            }

        return look.page(request, "about.html", context)
