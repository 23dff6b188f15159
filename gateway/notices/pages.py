"""The page of notices: whom, by which way, what was sent, and a trial."""

from __future__ import annotations

from fastapi import APIRouter, HTTPException, Request, Response
from starlette.concurrency import run_in_threadpool

from gateway.books import BookFault
from gateway.console.gate import address_of, person_of, read_form
from gateway.console.pages.look import Context, Look
from gateway.notices.desk import NoticesDesk, TrialRefused
from gateway.notices.memory import SENT_MAX, Fate
from gateway.notices.planning import Kind
from gateway.notices.told import notices_told

TOPIC = "notices"
"""Of the stream: a line was added to the book."""

KIND_WORD = {
    Kind.CALL: "alarm",
    Kind.ESCALATION: "second person",
    Kind.CLEAR: "end of alarm",
    Kind.DIGEST: "what the storm was",
    Kind.TEST: "daily test",
    Kind.TRIAL: "trial",
}

FATE_WORD = {
    Fate.WAITS: "on its way",
    Fate.TAKEN: "taken",
    Fate.FAILED: "FAILED, tried again",
    Fate.GIVEN_UP: "FAILED, given up",
}

BY_MAX = 64


def notices_pages(look: Look, desk: NoticesDesk) -> APIRouter:
    """The page and its form."""
    routes = APIRouter(include_in_schema=False)

    def page(request: Request, refusal: str = "", status: int = 200) -> Response:
        def context(_: object) -> Context:
            return {
                "told": notices_told(desk),
                "refusal": refusal,
                "kind_word": KIND_WORD,
                "fate_word": FATE_WORD,
                "sent_max": SENT_MAX,
            }

        return look.page(request, "notices.html", context, topics=TOPIC, status=status)

    @routes.get("/notices")
    def notices(request: Request) -> Response:
        return page(request)

    @routes.post("/notices/trial")
    async def trial(request: Request) -> Response:
        form = await read_form(request)
        by = form.get("by", "").strip()
        try:
            if len(by) > BY_MAX or not by.isprintable():
                raise TrialRefused(f"the name is longer than {BY_MAX} characters, or not plain")
            who = person_of(request, by or None)
            await run_in_threadpool(desk.send_trial, who, address_of(request), form.get("to", ""))
        except TrialRefused as fault:
            return page(request, str(fault), 409)
        except HTTPException as fault:
            if fault.status_code != 422:
                raise
            return page(request, str(fault.detail), 422)
        except BookFault as fault:
            return page(request, str(fault), 503)
        return Response(status_code=303, headers={"Location": "/notices"})

    return routes
