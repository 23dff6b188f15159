"""The gate: who calls, and whether the route at hand is for them.

Every route has a row in a table that says what it needs; a route without one cannot be served at
all. Without accounts whoever reaches this machine's own address may act under a name that they
give. A page from elsewhere can neither act (its origin gives it away, and it does not know the key
that a form must bring along) nor read (no header lets it).
"""

from __future__ import annotations

from collections.abc import Mapping
from urllib.parse import parse_qs, quote, urlsplit

from fastapi import HTTPException, Request

from gateway.accounts.people import OPEN, Caller, Way
from gateway.accounts.roles import Act
from gateway.accounts.signing_in import Door, same
from gateway.console.rooms import Route

FORM_KEY = "form_key"
FORM_KEY_HEADER = "x-seafret-form-key"

FORM_BYTES_MAX = 65_536
FORM_FIELDS_MAX = 300
"""A longer form, or one of more fields, is refused."""

SAFE = ("GET", "HEAD", "OPTIONS")
API = "/api/"


class Gate:
    """door: None where no accounts are in force. secure: over TLS."""

    def __init__(self, door: Door | None, acts: Mapping[Route, Act], secure: bool) -> None:
        self.door = door
        self.acts = acts
        self.secure = secure
        self.cookie = "__Host-seafret" if secure else "seafret"

    async def __call__(self, request: Request) -> None:
        """A dependency of the whole application: sets `request.state.caller`, or refuses."""
        act = self.acts[request.method, request.scope["route"].path]
        caller = self.caller_of(request)
        request.state.caller = caller
        if request.method not in SAFE:
            await self._check_origin(request, caller)
        if act is Act.ENTER:
            return
        if caller is None:
            raise self._stranger(request)
        if not caller.may(act):
            self._tell_of_refusal(caller, request)
            raise HTTPException(403, f"the role {caller.role} may not do this ({act})")

    def caller_of(self, request: Request) -> Caller | None:
        """Who calls, by token or session; None where nobody is known."""
        if self.door is None:
            return OPEN
        kind, _, token = request.headers.get("authorization", "").partition(" ")
        if kind.lower() == "bearer":
            return self.door.by_token(token.strip())
        session = request.cookies.get(self.cookie)
        return self.door.by_session(session) if session else None

    async def _check_origin(self, request: Request, caller: Caller | None) -> None:
        origin = request.headers.get("origin")
        elsewhere = origin is not None and urlsplit(origin).netloc != request.headers.get("host")
        if elsewhere or request.headers.get("sec-fetch-site", "same-origin") == "cross-site":
            raise HTTPException(403, "a page from elsewhere may not act here")
        if caller is not None and caller.csrf:
            key = request.headers.get(FORM_KEY_HEADER) or (await read_form(request)).get(FORM_KEY)
            if key is None or not same(key, caller.csrf):
                raise HTTPException(403, "the form is from another session; load its page again")

    def _stranger(self, request: Request) -> HTTPException:
        if request.url.path.startswith(API):
            wants = {"WWW-Authenticate": "Bearer"}
            return HTTPException(401, "nobody is signed in; bring a session or a token", wants)
        path = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        where = f"/sign-in?next={quote(path if request.method == 'GET' else '/')}"
        return HTTPException(303, "sign in first", {"Location": where})

    def _tell_of_refusal(self, caller: Caller, request: Request) -> None:
        if self.door is not None and request.method not in SAFE:
            path = request.scope["route"].path
            self.door.register.note(caller.name, "refused", path, address_of(request))


def caller_of(request: Request) -> Caller:
    """Who calls a route that is not for strangers."""
    caller = request.state.caller
    assert isinstance(caller, Caller), "the gate lets nobody in without a caller"
    return caller


def address_of(request: Request) -> str:
    """From where."""
    return request.client.host if request.client else ""


def person_of(request: Request, given: str | None) -> str:
    """Whose name an action gets: the caller's, or without accounts the one given."""
    caller = caller_of(request)
    if caller.way is Way.OPEN:
        if given is None or not given.strip():
            raise HTTPException(422, "nobody is named: give your name, the journal keeps it")
        return given.strip()
    if given is not None and given != caller.name:
        raise HTTPException(403, f"you are {caller.name}; nobody acts under another name")
    return caller.name


async def read_form(request: Request) -> dict[str, str]:
    """The fields of a posted form; of a doubled one the last. JSON has no fields."""
    body = await request.body()
    if not request.headers.get("content-type", "").startswith("application/x-www-form-urlencoded"):
        return {}
    if len(body) > FORM_BYTES_MAX:
        raise HTTPException(413, f"the form is longer than {FORM_BYTES_MAX} bytes")
    try:
        fields = parse_qs(
            body.decode("utf-8"),
            keep_blank_values=True,
            strict_parsing=bool(body),
            encoding="utf-8",
            errors="strict",
            max_num_fields=FORM_FIELDS_MAX,
        )
    except ValueError as fault:
        raise HTTPException(422, "the form cannot be read; load its page again") from fault
    return {name: found[-1] for name, found in fields.items()}


async def read_fields(request: Request) -> list[tuple[str, str]]:
    """The same with every one of doubled fields."""
    await read_form(request)
    body = (await request.body()).decode()
    return [(name, one) for name, all_of in parse_qs(body, True).items() for one in all_of]
