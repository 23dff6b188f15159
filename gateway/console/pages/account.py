"""Signing in and out, one's own account, and the administrator's page."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import quote

from fastapi import APIRouter, HTTPException, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from gateway.accounts.passwords import PasswordRefused, is_right
from gateway.accounts.people import (
    SESSION_US,
    AccountRefused,
    SignInRefused,
    Way,
    checked_role,
)
from gateway.accounts.register import Register
from gateway.accounts.roles import ALLOWED, Role
from gateway.accounts.signing_in import Door, same
from gateway.accounts.single_sign_on import ProviderAway, SingleSignOn
from gateway.console.gate import address_of, caller_of, read_form
from gateway.console.pages.look import Context, Look, back_to

STATE_COOKIE = "seafret-sign-in"
STATE_S = 600


def account_routes(look: Look, single_sign_on: SingleSignOn | None) -> APIRouter:
    """The routes; without accounts they say so."""
    routes = APIRouter(include_in_schema=False)
    _add_signing_in(routes, look, single_sign_on)
    _add_elsewhere(routes, look, single_sign_on)
    _add_own(routes, look)
    _add_governing(routes, look)
    return routes


def _door(look: Look) -> Door:
    if look.gate.door is None:
        raise HTTPException(404, "no accounts are in force here; see [console] in the settings")
    return look.gate.door


def _sign_in_page(
    look: Look, request: Request, elsewhere: bool, refusal: str = "", status: int = 200
) -> Response:
    door = _door(look)
    where = back_to(request.query_params.get("next"))
    return look.stranger_page(
        request,
        "sign_in.html",
        {
            "refusal": refusal,
            "next": where,
            "elsewhere": elsewhere,
            "nobody": not door.register.accounts() and not elsewhere,
        },
        status,
    )


def _signed_in(look: Look, secret: str, where: str, role: Role) -> Response:
    answer = Response(status_code=303, headers={"Location": where})
    answer.set_cookie(
        look.gate.cookie,
        secret,
        max_age=SESSION_US[role] // 1_000_000,
        path="/",
        secure=look.gate.secure,
        httponly=True,
        samesite="lax",
    )
    return answer


def _add_signing_in(routes: APIRouter, look: Look, sso: SingleSignOn | None) -> None:
    @routes.get("/sign-in")
    def sign_in_page(request: Request) -> Response:
        return _sign_in_page(look, request, sso is not None)

    @routes.post("/sign-in")
    async def sign_in(request: Request) -> Response:
        door, form = _door(look), await read_form(request)
        name, password = form.get("name", "").strip().lower()[:64], form.get("password", "")
        try:
            secret = await run_in_threadpool(door.sign_in, name, password, address_of(request))
        except SignInRefused as fault:
            return _sign_in_page(look, request, sso is not None, str(fault), 403)
        caller = door.by_session(secret)
        assert caller is not None, "the session was just begun"
        return _signed_in(look, secret, back_to(form.get("next")), caller.role)

    @routes.post("/sign-out")
    def sign_out(request: Request) -> Response:
        _door(look).sign_out(request.cookies.get(look.gate.cookie, ""), address_of(request))
        answer = Response(status_code=303, headers={"Location": "/sign-in"})
        answer.delete_cookie(look.gate.cookie, path="/", secure=look.gate.secure)
        return answer


def _add_elsewhere(routes: APIRouter, look: Look, sso: SingleSignOn | None) -> None:
    @routes.post("/sign-in/elsewhere")
    def elsewhere(request: Request) -> Response:
        if sso is None:
            raise HTTPException(404, "single sign-on is not set up; see [console.single_sign_on]")
        try:
            where, state = sso.begin()
        except ProviderAway as fault:
            return _sign_in_page(look, request, True, str(fault), 503)
        answer = Response(status_code=303, headers={"Location": where})
        answer.set_cookie(
            STATE_COOKIE, state, max_age=STATE_S, path="/sign-in", secure=look.gate.secure,
            httponly=True, samesite="lax",
        )  # fmt: skip
        return answer

    @routes.get("/sign-in/back")
    def back(
        request: Request,
        state: str = Query(default="", max_length=200),
        code: str = Query(default="", max_length=4000),
    ) -> Response:
        if sso is None:
            raise HTTPException(404, "single sign-on is not set up; see [console.single_sign_on]")
        try:
            if not state or not same(state, request.cookies.get(STATE_COOKIE, "")):
                raise SignInRefused("this sign-in was not begun in this browser; begin again")
            name, role = sso.finish(state, code)
            secret = _door(look).begin(name, role, Way.SINGLE_SIGN_ON, address_of(request))
        except (SignInRefused, ProviderAway) as fault:
            return _sign_in_page(look, request, True, str(fault), 403)
        answer = _signed_in(look, secret, "/", role)
        answer.delete_cookie(STATE_COOKIE, path="/sign-in", secure=look.gate.secure)
        return answer


def _add_own(routes: APIRouter, look: Look) -> None:
    def page(request: Request, text: str = "", secret: str = "", status: int = 200) -> Response:
        _door(look)
        context: Context = {
            "text": text,
            "secret": secret,
            "acts": ALLOWED[caller_of(request).role],
        }
        return look.page(request, "account.html", lambda told: context, status=status)

    @routes.get("/account")
    def account(request: Request) -> Response:
        return page(request)

    @routes.post("/account/password")
    async def password(request: Request) -> Response:
        door, form, caller = _door(look), await read_form(request), caller_of(request)
        kept = door.register.password_of(caller.name)
        if not await run_in_threadpool(is_right, kept, form.get("old", "")):
            return page(request, "the present password is wrong; nothing was changed", status=403)
        try:
            change = (caller.name, form.get("password", ""), caller.name, address_of(request))
            await run_in_threadpool(door.register.set_password, *change)
        except (PasswordRefused, AccountRefused) as fault:
            return page(request, str(fault), status=422)
        return Response(status_code=303, headers={"Location": "/sign-in"})

    @routes.post("/account/token")
    async def token(request: Request) -> Response:
        door, form, caller = _door(look), await read_form(request), caller_of(request)
        days = form.get("days", "")
        try:
            made = door.make_token(
                caller.name, form.get("label", "")[:64], int(days) if days.isdecimal() else 0,
                caller.name, address_of(request),
            )  # fmt: skip
        except AccountRefused as fault:
            return page(request, str(fault), status=422)
        return page(request, "This is told once; it cannot be shown again.", made)

    @routes.post("/account/tokens-end")
    def tokens_end(request: Request) -> Response:
        caller = caller_of(request)
        _door(look).end_tokens(caller.name, caller.name, address_of(request))
        return page(request, "All your tokens have ended.")


Change = Callable[[Register, dict[str, str], str, str], None]

_CHANGES: dict[str, Change] = {
    "add": lambda register, form, by, address: register.add(
        form.get("name", ""),
        checked_role(form.get("role", "")),
        form.get("password", ""),
        by,
        address,
    ),
    "role": lambda register, form, by, address: register.set_role(
        form.get("name", ""), checked_role(form.get("role", "")), by, address
    ),
    "disable": lambda register, form, by, address: register.set_disabled(
        form.get("name", ""), True, by, address
    ),
    "enable": lambda register, form, by, address: register.set_disabled(
        form.get("name", ""), False, by, address
    ),
    "unlock": lambda register, form, by, address: register.unlock(
        form.get("name", ""), by, address
    ),
    "password": lambda register, form, by, address: register.set_password(
        form.get("name", ""), form.get("password", ""), by, address
    ),
}


def _add_governing(routes: APIRouter, look: Look) -> None:
    def page(request: Request, refusal: str = "", status: int = 200) -> Response:
        register = _door(look).register

        def context(told: object) -> Context:
            return {
                "accounts": register.accounts(),
                "audit": register.audit(),
                "roles": tuple(Role),
                "refusal": refusal,
                "real_us": register.now_us(),
            }

        return look.page(request, "accounts.html", context, status=status)

    @routes.get("/accounts")
    def accounts(request: Request) -> Response:
        return page(request)

    for word, change in _CHANGES.items():
        _add_change(routes, look, page, word, change)


def _add_change(
    routes: APIRouter, look: Look, page: Callable[..., Response], word: str, change: Change
) -> None:
    @routes.post(f"/accounts/{word}")
    async def changed(request: Request) -> Response:
        form, by = await read_form(request), caller_of(request).name
        register = _door(look).register
        try:
            await run_in_threadpool(change, register, form, by, address_of(request))
        except (AccountRefused, PasswordRefused) as fault:
            return page(request, str(fault), status=422)
        return Response(status_code=303, headers={"Location": quote("/accounts")})
