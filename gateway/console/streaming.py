"""The stream of server-sent events, over the gate like every other route."""

from __future__ import annotations

from fastapi import APIRouter, HTTPException, Request
from fastapi.responses import StreamingResponse

from gateway.console.feed import READERS_MAX
from gateway.console.gate import Gate
from gateway.console.sources import Sources

NAME_CHARACTERS_MAX = 64


def stream_routes(sources: Sources, gate: Gate) -> APIRouter:
    """One route; `Last-Event-ID` says what a page had before it was cut off."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/stream")
    async def stream(request: Request) -> StreamingResponse:
        if sources.feed.readers >= READERS_MAX:
            raise HTTPException(503, f"{READERS_MAX} streams are open; close a page elsewhere")
        last = request.headers.get("last-event-id", "")[:NAME_CHARACTERS_MAX]

        def allowed() -> bool:
            return gate.caller_of(request) is not None

        return StreamingResponse(
            sources.feed.listen(last, sources.now_us, allowed),
            media_type="text/event-stream",
            headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
        )

    return routes
