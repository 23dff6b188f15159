"""Results of `seafret replay`, and two of them compared: never to be taken for the present.

Only folders right inside the one that the settings name are shown; nothing is run and nothing is
written from here, and nothing of it reaches notices, the outstation or the alarm list.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Query, Request, Response

from gateway.console.pages.look import Context, Look
from gateway.replay.comparing import compared_runs
from gateway.replay.comparison_document import LOAD_LINES, Told, comparison_document
from gateway.replay.instants import InstantFault
from gateway.replay.occurrences import occurrences
from gateway.replay.results import ResultFault, Run, read_manifest, read_run

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
LISTED_MAX = 200
ALARMS_SHOWN = 500

NameQuery = Annotated[str, Query(max_length=64)]
Tolerance = Annotated[float, Query(alias="tolerance_s", ge=0, le=3600)]


@dataclass(frozen=True, slots=True)
class Shelved:
    """One folder. fault: why it cannot be read."""

    name: str
    manifest: dict[str, Any]
    fault: str


def results_routes(look: Look) -> APIRouter:
    """The routes of these pages."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/results")
    def results(request: Request) -> Response:
        def context(told: Any) -> Context:
            return {"shelf": shelf(look.console.results), "folder": look.console.results}

        return look.page(request, "results.html", context)

    @routes.get("/results/compare")
    def compare(
        request: Request, a: NameQuery, b: NameQuery, tolerance_s: Tolerance = 5.0
    ) -> Response:
        def context(told: Any) -> Context:
            runs = _run(look, a), _run(look, b)
            found = compared_runs(*runs, round(tolerance_s * 1e6))
            return {
                "a": a, "b": b, "tolerance_s": tolerance_s, "told": comparison_document(found),
                "lanes": lanes(found), "load": _load(found),
            }  # fmt: skip

        return look.page(request, "compare.html", context)

    @routes.get("/results/{name}")
    def result(request: Request, name: str) -> Response:
        def context(told: Any) -> Context:
            run = _run(look, name)
            found = occurrences(run.changes)
            return {
                "name": name,
                "run": run,
                "manifest": read_manifest(run.folder),
                "alarms": found[:ALARMS_SHOWN],
                "more": max(0, len(found) - ALARMS_SHOWN),
                "others": [one.name for one in shelf(look.console.results) if one.name != name],
            }

        return look.page(request, "result.html", context)

    return routes


def shelf(folder: Path | None) -> list[Shelved]:
    """What lies in the folder of results, the newest first."""
    if folder is None or not folder.is_dir():
        return []
    inside = [one for one in folder.iterdir() if one.is_dir() and NAME.fullmatch(one.name)]
    newest = sorted(inside, key=lambda one: (-one.stat().st_mtime_ns, one.name))[:LISTED_MAX]
    return [_shelved(one) for one in newest]


def _shelved(folder: Path) -> Shelved:
    try:
        return Shelved(folder.name, read_manifest(folder), "")
    except (ResultFault, OSError) as fault:
        return Shelved(folder.name, {}, str(fault))


def _run(look: Look, name: str) -> Run:
    top = look.console.results
    if top is None or not NAME.fullmatch(name) or not (top / name).is_dir():
        raise HTTPException(404, f"no result {name[:64]!r}; the results' page has all")
    try:
        return read_run(top / name)
    except (ResultFault, InstantFault, OSError) as fault:
        raise HTTPException(422, str(fault)) from fault


LEAST_PPT = 5
"""A mark is at least so wide, and never beyond the end of the line: it must be seen."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One alarm on a lane of the common time line, in thousandths of its length. kind: only-a,
    only-b or both."""

    from_ppt: int
    width_ppt: int
    kind: str
    title: str


def lanes(told: Told) -> dict[str, list[Mark]]:
    """Both runs' alarms on one time line."""
    starts = [run.period for run in (told.a, told.b)]
    first, last = min(one[0] for one in starts), max(one[1] for one in starts)
    length = max(last - first, 1)
    found: dict[str, list[Mark]] = {"a": [], "b": []}

    def mark(one: Any, kind: str) -> Mark:
        end_us = last if one.end_us is None else one.end_us
        begin = min(1000 * (one.start_us - first) // length, 1000 - LEAST_PPT)
        wide = max(LEAST_PPT, 1000 * (end_us - one.start_us) // length)
        return Mark(begin, wide, kind, f"{one.alarm} {one.subject}")

    found["a"] += [mark(one, "only-a") for one in told.comparison.only_a]
    found["b"] += [mark(one, "only-b") for one in told.comparison.only_b]
    for pair in told.comparison.both:
        found["a"].append(mark(pair.a, "both"))
        found["b"].append(mark(pair.b, "both"))
    return found


def _load(told: Told) -> list[tuple[str, str, str]]:
    """Operator load: words, A, B."""
    return [
        (
            words,
            f"{getattr(told.load_a, name) / divisor:.{places}f}",
            f"{getattr(told.load_b, name) / divisor:.{places}f}",
        )
        for name, (words, divisor, places) in LOAD_LINES.items()
    ]
