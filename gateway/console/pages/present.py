"""Pages of the present: fleet, site, alarms, tasks, units."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, HTTPException, Query, Request, Response

from gateway.alarms.actions import ActionRefused
from gateway.alarms.messages import MessageClass
from gateway.console.alarm_asks import number_of
from gateway.console.alarm_rows import listed, row_of, surroundings, weather_words
from gateway.console.fleet import fleet_rows
from gateway.console.pages.look import Context, Look
from gateway.console.pages.trends import Sparks, site_strips
from gateway.console.picture import InsulatorTold, Picture, UnitTold
from gateway.console.present import Told

Tab = Annotated[Literal["active", "shelved", "suppressed", "out-of-service"], Query(alias="tab")]
SiteFilter = Annotated[str | None, Query(alias="site", max_length=32)]
Hours = Annotated[Literal["2", "12", "48"], Query(alias="hours")]

OVER_BACK_US = 31 * 86_400_000_000
"""Of an alarm that is over, so far back its journal is looked for; the journal's CSV has more."""

STRIPS_MAX = 60
"""Insulators drawn as strips on a site's page; of more, the worst, and the table has all."""


def present_routes(look: Look) -> APIRouter:
    """The routes of these pages."""
    routes = APIRouter(include_in_schema=False)
    sparks = Sparks(look.sources, look.limits_of)
    _add_fleet(routes, look)
    _add_alarms(routes, look, sparks)
    _add_units(routes, look)
    return routes


def _add_fleet(routes: APIRouter, look: Look) -> None:
    @routes.get("/")
    def fleet(request: Request) -> Response:
        def context(told: Told) -> Context:
            return {
                "rows": fleet_rows(told),
                "limits_of": look.limits_of,
                "weather_words": weather_words,
            }

        return look.page(request, "fleet.html", context, topics="*")

    @routes.get("/sites/{site}")
    def site_page(request: Request, site: str, hours: Hours = "12") -> Response:
        look.known_site(site)

        def context(told: Told) -> Context:
            row = next(one for one in fleet_rows(told) if one.site.site == site)
            insulators = _worst_first(told.picture, site)
            times = look.times(request)
            return {
                "row": row,
                "site": site,
                "hours": hours,
                "alarms": listed(told, "active", site, MessageClass.ALARM),
                "insulators": insulators,
                "units": [one for one in told.picture.units if one.site == site],
                "strips": site_strips(
                    look.sources, site, [one.insulator for one in insulators[:STRIPS_MAX]],
                    int(hours), times, look.limits_of,
                ),
                "left_out": max(0, len(insulators) - STRIPS_MAX),
                "weather_words": weather_words,
                "note_of": note_of,
            }  # fmt: skip

        return look.page(request, "site.html", context, topics=f"site:{site} alarms")


def _worst_first(picture: Picture, site: str) -> list[InsulatorTold]:
    own = [one for one in picture.insulators if one.site == site]
    return sorted(
        own,
        key=lambda one: (
            -(one.row.arcing_peak_ua if one.row is not None and one.watched else 0),
            one.watched,
            one.insulator,
        ),
    )


def note_of(flags: tuple[str, ...]) -> str:
    """Flags as words."""
    return ", ".join(one.replace("-", " ") for one in flags)


def _add_alarms(routes: APIRouter, look: Look, sparks: Sparks) -> None:
    def list_page(
        request: Request, template: str, tab: str, site: str | None, message: MessageClass
    ) -> Response:
        if site is not None:
            look.known_site(site)

        def context(told: Told) -> Context:
            return {
                "list": listed(told, tab, site, message),
                "site": site,
                "spark": sparks.of,
                "weather_words": weather_words,
            }

        return look.page(request, template, context, topics="*")

    @routes.get("/alarms")
    def alarms(request: Request, tab: Tab = "active", site: SiteFilter = None) -> Response:
        return list_page(request, "alarms.html", tab, site, MessageClass.ALARM)

    @routes.get("/tasks")
    def tasks(request: Request, tab: Tab = "active", site: SiteFilter = None) -> Response:
        return list_page(request, "tasks.html", tab, site, MessageClass.TASK)

    @routes.get("/alarms/{alarm_id}")
    def alarm(request: Request, alarm_id: str) -> Response:
        site = alarm_id.rpartition(".")[0]
        if site not in look.sources.register:
            raise HTTPException(404, "no such alarm; the list has those that stand")

        def context(told: Told) -> Context:
            found = [one for one in told.alarms.alarms if one.id == alarm_id]
            over_us = told.picture.now_us - OVER_BACK_US
            start_us = found[0].heard_us if found and found[0].heard_us else over_us
            return {
                "alarm_id": alarm_id,
                "site": site,
                "row": row_of(found[0], surroundings(told)) if found else None,
                "entries": look.entries_of(site, _number(alarm_id), max(0, start_us)),
                "spark": sparks.of,
                "weather_words": weather_words,
            }

        return look.page(request, "alarm.html", context, topics=f"site:{site} alarms")


def _number(alarm_id: str) -> int:
    try:
        return number_of(alarm_id)
    except ActionRefused as fault:
        raise HTTPException(404, str(fault)) from fault


_LIVELINESS = {"silent": 0, "never-heard": 1, "catching-up": 2, "live": 3}
_LETTERS = {"F": 0, "C": 1, "S": 2, "M": 3, "": 4}


def _unit_order(one: UnitTold) -> tuple[int, int, str]:
    """Who needs somebody first."""
    letter = _LETTERS[one.health.letter] if one.health is not None else 1
    return _LIVELINESS[one.liveliness], letter, one.unit


def _add_units(routes: APIRouter, look: Look) -> None:
    @routes.get("/units")
    def units(request: Request, site: SiteFilter = None) -> Response:
        if site is not None:
            look.known_site(site)

        def context(told: Told) -> Context:
            own = [one for one in told.picture.units if site in (None, one.site)]
            return {"units": sorted(own, key=_unit_order), "site": site}

        return look.page(request, "units.html", context, topics="*")
