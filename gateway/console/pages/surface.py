"""The page of one insulator: decision, trend, humidity response, waveform, exposure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from fastapi import APIRouter, HTTPException, Query, Request, Response
from markupsafe import Markup

from edge.records import Capture
from gateway.alarms.messages import MessageClass
from gateway.console.alarm_rows import listed, weather_words
from gateway.console.assessing import Assessment, Assessments
from gateway.console.pages.look import Context, Look
from gateway.console.pages.present import note_of
from gateway.console.pages.surface_csv import add_tables
from gateway.console.pages.surface_parts import (
    ExposureLine,
    Trend,
    exposure_lines,
    trend_of,
    wave_of_capture,
)
from gateway.console.reading_rows import reader_of
from gateway.console.surface_plots import cloud_of, response_plot, wave_plot
from gateway.console.waveforms import CYCLES
from gateway.history.store import HistoryFault
from gateway.trends.columns import DAY_US, HOUR_US

RANGES_US = {
    "2h": 2 * HOUR_US,
    "12h": 12 * HOUR_US,
    "2d": 2 * DAY_US,
    "14d": 14 * DAY_US,
    "90d": 90 * DAY_US,
    "2y": 731 * DAY_US,
}
"""Words in the address, and how far back each looks."""

RangeQuery = Annotated[Literal["2h", "12h", "2d", "14d", "90d", "2y"], Query(alias="range")]
CaptureQuery = Annotated[str | None, Query(alias="capture", pattern=r"^[0-9a-f]{64}$")]
CyclesQuery = Annotated[Literal["3", "6", "10"], Query(alias="cycles")]

CAPTURES_BACK_US = 31 * DAY_US
CAPTURES_SHOWN = 12


@dataclass(frozen=True, slots=True)
class _Past:
    """What the history gives for the page."""

    trend: Trend | None
    exposure: list[ExposureLine]
    captures: list[Capture]
    fault: str = ""


def surface_routes(look: Look) -> APIRouter:
    """The page, the part that is worked out beside it, and the tables as CSV."""
    routes = APIRouter(include_in_schema=False)
    assessments = Assessments(look.sources)
    _add_page(routes, look, assessments)
    _add_response(routes, look, assessments)
    add_tables(routes, look, assessments)
    return routes


def check_insulator(look: Look, site: str, insulator: str) -> None:
    """404 where nobody has heard of it."""
    look.known_site(site)
    seen = look.present.told().picture.insulators
    if not any(one.site == site and one.insulator == insulator for one in seen):
        raise HTTPException(404, f"no insulator {insulator[:48]!r} on {site}; its page has all")


def _add_page(routes: APIRouter, look: Look, assessments: Assessments) -> None:
    @routes.get("/sites/{site}/insulators/{insulator}")
    def insulator_page(
        request: Request,
        site: str,
        insulator: str,
        range_: RangeQuery = "12h",
        capture: CaptureQuery = None,
        cycles: CyclesQuery = "6",
    ) -> Response:
        check_insulator(look, site, insulator)

        def context(told: Any) -> Context:
            seen = told.picture.insulators
            times = look.times(request)
            past = _past(look, site, insulator, RANGES_US[range_], request)
            chosen = _chosen(past.captures, capture)
            alarms = listed(told, "active", site, MessageClass.ALARM)
            return {
                "site": site,
                "insulator": insulator,
                "seen": next(one for one in seen if (one.site, one.insulator) == (site, insulator)),
                "siblings": [one.insulator for one in seen if one.site == site],
                "alarms": [one for one in alarms.rows if one.told.subject == insulator],
                "range": range_,
                "ranges": tuple(RANGES_US),
                "past": past,
                "capture": chosen,
                "cycles": int(cycles),
                "all_cycles": CYCLES,
                "wave": _wave(look, site, chosen, int(cycles)),
                **_assessed(assessments.of(site), insulator),
                "limits": look.limits_of(site, insulator),
                "weather": next(one.weather for one in told.picture.sites if one.site == site),
                "weather_words": weather_words,
                "note_of": note_of,
                "times": times,
            }

        topics = f"site:{site} assessed:{site} alarms limits"
        return look.page(request, "insulator.html", context, topics=topics)


def _past(look: Look, site: str, insulator: str, back_us: int, request: Request) -> _Past:
    times = look.times(request)
    if site not in look.sources.history.sites():
        return _Past(None, [], [], "")
    try:
        limits = look.limits_of(site, insulator)
        trend = trend_of(look.sources, site, insulator, back_us, times, limits)
        with reader_of(look.sources, site) as reader:
            exposure = exposure_lines(reader, insulator, times.now_us)
            found = reader.captures(max(0, times.now_us - CAPTURES_BACK_US), times.now_us + HOUR_US)
    except HistoryFault as fault:
        return _Past(None, [], [], str(fault))
    own = [one.record for one in found if one.record.insulator == insulator]
    return _Past(trend, exposure, own[::-1][:CAPTURES_SHOWN])


def _chosen(captures: list[Capture], sha: str | None) -> Capture | None:
    """The one asked for, else the newest."""
    return next((one for one in captures if one.content_sha == sha), None) or next(
        iter(captures), None
    )


def _wave(look: Look, site: str, capture: Capture | None, cycles: int) -> Context:
    """The drawing and its figures, or why there is none."""
    if capture is None:
        return {"svg": "", "why": "no waveform was captured in the last month", "wave": None}
    wave, why = wave_of_capture(look.sources, site, capture, cycles)
    svg = Markup(wave_plot(wave)) if wave is not None else ""
    return {"svg": svg, "why": why, "wave": wave}


def _assessed(found: Assessment | None, insulator: str) -> Context:
    """The decision and the response's drawing, "" where there is none."""
    told = _told_of(found, insulator)
    svg: str | Markup = ""
    if found is not None and found.site is not None and insulator in found.site.currents:
        svg = Markup(response_plot(cloud_of(found.site, insulator), told["one"]))
    return {"assessment": told, "response_svg": svg}


def _told_of(found: Assessment | None, insulator: str) -> Context:
    """What the page says of the decision now. state: working, none (and why), or told."""
    if found is None:
        return {"state": "working", "why": "", "one": None, "trend": None}
    one = found.of(insulator)
    if one is None or found.trend is None:
        why = found.why or "nothing is known of this insulator yet"
        return {"state": "none", "why": why, "one": None, "trend": None}
    return {"state": "told", "why": "", "one": one, "trend": found.trend}


def _add_response(routes: APIRouter, look: Look, assessments: Assessments) -> None:
    @routes.get("/sites/{site}/insulators/{insulator}/response")
    def response(request: Request, site: str, insulator: str) -> Response:
        check_insulator(look, site, insulator)

        def context(told: Any) -> Context:
            shown = _assessed(assessments.of(site), insulator)
            return {"site": site, "insulator": insulator, **shown}

        return look.page(request, "response.html", context, topics=f"assessed:{site}")
