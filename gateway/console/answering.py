"""What every answer carries: headers that keep a page from being misused, and how faults look."""

from __future__ import annotations

from starlette.types import ASGIApp, Message, Receive, Scope, Send

CONTENT_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'; manifest-src 'self'"
)
"""Nothing from elsewhere and nothing inline: a text that slipped through could not run."""

HEADERS = (
    (b"content-security-policy", CONTENT_POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), geolocation=(), microphone=()"),
)

TLS_ONLY = (b"strict-transport-security", b"max-age=31536000")

BODY_BYTES_MAX = 1_000_000
"""A longer body of any request is refused by its declared length, or cut off with 413."""


class Answering:
    """Adds the headers to every answer; whatever has no word on caching is not cached."""

    def __init__(self, app: ASGIApp, secure: bool) -> None:
        self._app = app
        self._headers = (*HEADERS, TLS_ONLY) if secure else HEADERS

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def answer(message: Message) -> None:
            if message["type"] == "http.response.start":
                named = {name.lower() for name, _ in message["headers"]}
                more = [one for one in self._headers if one[0] not in named]
                if b"cache-control" not in named:
                    more.append((b"cache-control", b"no-store"))
                message["headers"] = [*message["headers"], *more]
            await send(message)

        if _declared(scope) > BODY_BYTES_MAX:
            await answer(
                {
                    "type": "http.response.start",
                    "status": 413,
                    "headers": [(b"connection", b"close")],
                }
            )
            await answer({"type": "http.response.body", "body": b"the request is too long\n"})
            return
        await self._app(scope, _limited(receive), answer)


def _declared(scope: Scope) -> int:
    for name, found in scope["headers"]:
        if name == b"content-length":
            return int(found) if found.isdigit() else 0
    return 0


def _limited(receive: Receive) -> Receive:
    """A body that says nothing of its length is cut off where it is too long."""
    taken = 0

    async def limited() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > BODY_BYTES_MAX:
            return {"type": "http.disconnect"}
        return message

    return limited
