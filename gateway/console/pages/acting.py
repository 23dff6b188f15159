"""What people do on the pages: plain forms, the rules' own refusals, and back to the page."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from urllib.parse import quote, urlsplit

from fastapi import APIRouter, HTTPException, Request, Response
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool

from gateway.alarms.actions import ActionRefused
from gateway.console.alarm_api import act
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
)
from gateway.console.gate import FORM_KEY, read_fields, read_form
from gateway.console.pages.look import Look, back_to
from gateway.console.words import Times

YEAR_S = 365 * 86_400

_KINDS: dict[str, type[Ask]] = {
    "acknowledge": AskAcknowledge,
    "shelve": AskShelve,
    "unshelve": AskUnshelve,
    "reset": AskReset,
    "answer": AskAnswer,
    "outage": AskOutage,
    "out-of-service": AskTakeOut,
    "in-service": AskPutBack,
}


def acting_routes(look: Look) -> APIRouter:
    """One route an action, and one for tastes."""
    routes = APIRouter(include_in_schema=False)
    for word, kind in _KINDS.items():
        _add(routes, look, word, kind)

    @routes.post("/preferences")
    async def preferences(request: Request) -> Response:
        form = await read_form(request)
        answer = _back(request, form)
        for name, allowed in (("theme", ("auto", "day", "night")), ("times", ("local", "utc"))):
            if form.get(name) in allowed:
                answer.set_cookie(
                    f"seafret-{name}", form[name], max_age=YEAR_S, samesite="lax",
                    secure=look.gate.secure,
                )  # fmt: skip
        return answer

    return routes


def _add(routes: APIRouter, look: Look, word: str, kind: type[Ask]) -> None:
    @routes.post(f"/do/{word}")
    async def do(request: Request) -> Response:
        form = await read_form(request)
        fields = await read_fields(request)
        answer = _back(request, form)
        try:
            ask = kind.model_validate(_given(kind, form, fields, look.times(request)))
            await run_in_threadpool(act, look.sources, ask, request)
        except ValidationError as fault:
            first = fault.errors()[0]
            where = ".".join(str(part) for part in first["loc"]) or "the form"
            return _told(look, request, form, f"{where}: {first['msg']}", 422)
        except ActionRefused as fault:
            return _told(look, request, form, str(fault), 409)
        except HTTPException as fault:
            if fault.status_code != 422:
                raise
            return _told(look, request, form, str(fault.detail), 422)
        if form.get("by", "").strip():
            answer.set_cookie(
                "seafret-name", quote(form["by"].strip()[:64]), max_age=YEAR_S, samesite="lax",
                secure=look.gate.secure, httponly=True,
            )  # fmt: skip
        return answer


def _given(
    kind: type[Ask], form: dict[str, str], fields: list[tuple[str, str]], times: Times
) -> dict[str, Any]:
    """The form's fields as the API's ask has them; a button may bring `do` with an alarm's id."""
    given: dict[str, Any] = {
        name: found
        for name, found in form.items()
        if name not in (FORM_KEY, "next", "ids", "do", "hours") and found != ""
    }
    if kind is AskAcknowledge:
        chosen = [found for name, found in fields if name in ("ids", "do")]
        given["ids"] = list(dict.fromkeys(chosen))
    elif "do" in form:
        name, _, label = form["do"].partition(" ")
        given |= {"id": name} | ({"label": label} if label else {})
    if kind is AskOutage:
        given |= {name: _zoned(given[name], times) for name in ("from", "to") if name in given}
    if kind is AskShelve and form.get("hours", "").isdecimal() and len(form["hours"]) < 4:
        given["for_s"] = int(form["hours"]) * 3600
    return given


def _zoned(text: str, times: Times) -> object:
    """A browser's local time in the zone that its page showed; what is no time is refused later."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    if moment.tzinfo is not None:
        return moment
    return (
        moment.replace(tzinfo=UTC) if times.utc else moment.replace(tzinfo=times.zone).astimezone()
    )


def _back(request: Request, form: dict[str, str]) -> Response:
    where = back_to(form.get("next"))
    return Response(status_code=303, headers={"Location": quote(where, safe="/?&=%.:+-_~,@")})


def _told(look: Look, request: Request, form: dict[str, str], text: str, status: int) -> Response:
    back = back_to(form.get("next"))
    path = urlsplit(back).path
    return look.page(
        request, "refused.html", lambda told: {"text": text, "back": back, "path": path},
        status=status,
    )  # fmt: skip
