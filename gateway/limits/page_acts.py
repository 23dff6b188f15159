"""What people do on the pages of limits: plain forms, the rules' own refusals, and back."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, HTTPException, Request, Response
from starlette.concurrency import run_in_threadpool

from gateway.books import BookFault
from gateway.console.gate import FORM_KEY, address_of, person_of, read_form
from gateway.limits.changing import (
    TEXT_MAX,
    Approve,
    Change,
    ChangeRefused,
    Propose,
    RollBack,
    Withdraw,
)
from gateway.limits.drafting import changed_only, drafted
from gateway.limits.pages import Pages

BY_MAX = 64
YEAR_S = 365 * 86_400

Form = dict[str, str]


def add_acts(routes: APIRouter, pages: Pages) -> None:
    """The routes that change something."""
    _add_proposing(routes, pages)

    @routes.post("/limits/{unit}/approve")
    async def approve(request: Request, unit: str) -> Response:
        form = await read_form(request)
        asked = Approve(version=_number(form, "version"), **_person(pages, request, unit, form))
        return await _changed(pages, request, form, asked)

    @routes.post("/limits/{unit}/withdraw")
    async def withdraw(request: Request, unit: str) -> Response:
        form = await read_form(request)
        asked = Withdraw(version=_number(form, "version"), **_person(pages, request, unit, form))
        return await _changed(pages, request, form, asked)

    @routes.post("/limits/{unit}/roll-back")
    async def roll_back(request: Request, unit: str) -> Response:
        form = await read_form(request)
        to = _number(form, "to") if form.get("to") else None
        asked = RollBack(to=to, **_person(pages, request, unit, form))
        return await _changed(pages, request, form, asked)


def _add_proposing(routes: APIRouter, pages: Pages) -> None:
    @routes.post("/limits/{unit}/draft")
    async def draft(request: Request, unit: str) -> Response:
        """Only what is changed goes into the address; the page there tries it."""
        form = await read_form(request)
        _, base, _ = pages.base(unit)
        try:
            changed = changed_only(base, form)
        except ChangeRefused as fault:
            return pages.propose_page(request, unit, form, str(fault), 422)
        if form.get("reason"):
            changed["reason"] = form["reason"][:TEXT_MAX]
        query = f"?{urlencode(changed)}#h-month" if changed else ""
        return _to(f"/limits/{quote(unit)}/propose{query}")

    @routes.post("/limits/{unit}/propose")
    async def propose(request: Request, unit: str) -> Response:
        form = await read_form(request)
        _, base, _ = pages.base(unit)
        try:
            if not form.get("reason", "").strip():
                raise ChangeRefused("the reason is empty; say why these limits are to change")
            content = drafted(base, form, form["reason"].strip())
            asked = Propose(alarms=content, **_person(pages, request, unit, form))
            made = await run_in_threadpool(pages.desk.change, asked)
        except ChangeRefused as fault:
            return pages.propose_page(request, unit, form, str(fault), 409)
        except BookFault as fault:
            return pages.propose_page(request, unit, form, str(fault), 503)
        except HTTPException as fault:
            if fault.status_code != 422:
                raise
            return pages.propose_page(request, unit, form, str(fault.detail), 422)
        return _named(pages, form, _to(f"/limits/{quote(unit)}/versions/{made.number}"))


def _number(form: Form, name: str) -> int:
    text = form.get(name, "")
    if not text.isascii() or not text.isdecimal() or len(text) > 7:
        raise HTTPException(422, f"{name} is {text[:20]!r}; load the form's page again")
    return int(text)


def _person(pages: Pages, request: Request, unit: str, form: Form) -> dict[str, Any]:
    by = form.get("by", "").strip()
    if len(by) > BY_MAX or not by.isprintable():
        raise HTTPException(422, f"the name is longer than {BY_MAX} characters, or not plain")
    reason = form.get("reason", "").strip()
    if not reason.isprintable():
        raise HTTPException(422, "the reason has characters that cannot be shown; write one line")
    return {
        "at_us": pages.desk.now_us(),
        "by": person_of(request, by or None),
        "unit": pages.known(unit),
        "address": address_of(request),
        "reason": reason,
    }


async def _changed(pages: Pages, request: Request, form: Form, asked: Change) -> Response:
    back = f"/limits/{quote(asked.unit)}"
    try:
        await run_in_threadpool(pages.desk.change, asked)
    except ChangeRefused as fault:
        return _refused(pages, request, str(fault), back, 409)
    except BookFault as fault:
        return _refused(pages, request, str(fault), back, 503)
    return _named(pages, form, _to(back))


def _refused(pages: Pages, request: Request, text: str, back: str, status: int) -> Response:
    context = {"text": text, "back": back, "path": back}
    return pages.page(request, "refused.html", lambda: context, status=status)


def _to(where: str) -> Response:
    return Response(status_code=303, headers={"Location": where})


def _named(pages: Pages, form: Form, answer: Response) -> Response:
    """The name that was given is there again on the next form."""
    assert FORM_KEY not in answer.headers["Location"], "a form's key is for nobody's eyes"
    if form.get("by", "").strip():
        answer.set_cookie(
            "seafret-name", quote(form["by"].strip()[:BY_MAX]), max_age=YEAR_S, samesite="lax",
            secure=pages.look.gate.secure, httponly=True,
        )  # fmt: skip
    return answer
