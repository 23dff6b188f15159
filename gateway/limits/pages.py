"""The pages of limits: all units, one unit, one version, and a change before it is proposed."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, HTTPException, Query, Request, Response

from gateway.console.gate import caller_of
from gateway.console.pages.look import Context, Look
from gateway.limits.changing import ChangeRefused, stood_before
from gateway.limits.contents import Content, differences
from gateway.limits.desk import LimitsDesk
from gateway.limits.drafting import DEFAULT_OWNER, changed_only, drafted, fields_of
from gateway.limits.in_force import InForce, base_of, content_of
from gateway.limits.limit_words import amount, unit_of, word_of
from gateway.limits.page_rows import (
    ROWS_MAX,
    Word,
    limit_rows,
    unit_row,
    unit_rows,
    version_row,
    version_rows,
)
from gateway.limits.preview import Preview, plan_of
from gateway.limits.trials import State, Trial, Trials
from gateway.limits.versions import Status, Version

TOPICS = "limits alarms"
"""A line of the book, a trial that moved, a fault that the alarm list was told."""

SHOWN_MAX = 60
"""So many alarms that only came, or only would have come, are listed; all are counted."""

STATUS_WORD = {
    Status.PROPOSED: "waits for approval",
    Status.APPROVED: "approved, on its way",
    Status.IN_FORCE: "in force",
    Status.REFUSED: "REFUSED by the unit",
    Status.REPLACED: "replaced",
    Status.WITHDRAWN: "withdrawn",
}

FAULT_WORD = {
    Word.NOT_ARRIVED: "NOT ARRIVED",
    Word.REFUSED: "REFUSED BY THE UNIT",
    Word.DIFFERS: "THE UNIT DECIDES OTHERWISE",
}


@dataclass(frozen=True, slots=True)
class Count:
    """Alarms of one kind over a month: that came, that would have come, that differ."""

    alarm: str
    came: int
    would: int
    gone: int
    new: int


class Pages:
    """What the routes of these pages share."""

    def __init__(self, look: Look, desk: LimitsDesk, in_force: InForce) -> None:
        self.look, self.desk, self.in_force = look, desk, in_force
        self.trials = Trials(desk, lambda: look.sources.feed.touch(["limits"]))

    def known(self, unit: str) -> str:
        """The unit. 404 where there is none."""
        if not self.desk.has(unit):
            raise HTTPException(404, f"no unit {unit[:65]!r}; the page of limits has all of them")
        return unit

    def version(self, unit: str, number: int) -> Version:
        """The version. 404 where there is none."""
        found = self.desk.of(self.known(unit)).of(number)
        if found is None:
            raise HTTPException(404, f"{unit} has no version {number}; its page has all of them")
        return found

    def base(self, unit: str) -> tuple[int, Content, bool]:
        """What a change starts from: its number, its content, and whether it is known here."""
        number = base_of(self.desk.of(self.known(unit)))
        found = content_of(self.desk, unit, number)
        return number, {} if found is None else found, found is not None

    def page(
        self,
        request: Request,
        template: str,
        context: Callable[[], Context],
        topics: str = "",
        status: int = 200,
    ) -> Response:
        """With the words that all of these pages use."""
        words: Context = {
            "word_of": word_of,
            "amount": amount,
            "unit_of": unit_of,
            "owner_word": lambda owner: "" if owner == DEFAULT_OWNER else owner,
            "status_word": STATUS_WORD,
            "fault_word": FAULT_WORD,
            "Status": Status,
        }
        return self.look.page(
            request, template, lambda told: words | context(), topics=topics, status=status
        )

    def propose_page(
        self, request: Request, unit: str, given: Mapping[str, str], refusal: str = "",
        status: int = 200,
    ) -> Response:  # fmt: skip
        """The form. given: what a person has typed so far; refusal: what is wrong with it."""
        number, base, is_known = self.base(unit)
        context: Context = {
            "unit": unit, "number": number, "is_known": is_known, "given": given,
            "alarms": fields_of(base), "refusal": refusal, "changes": [], "trial": None,
        }  # fmt: skip
        if not refusal and changed_only(base, given):
            content = drafted(base, given, given.get("reason") or "a draft")
            changes = differences(base if is_known else None, content)
            context["changes"] = [one for one in changes if one.what != "reason"]
            context |= self.tried(unit, content)
        topics = "" if refusal else "limits"
        return self.page(request, "limits_propose.html", lambda: context, topics, status)

    def tried(self, unit: str, content: Content | None) -> Context:
        """What a page says of a content's month. Work on it begins where there is none."""
        trial = self.trials.of(unit, content)
        return {"trial": trial, "State": State, **_months(trial)}


def add_pages(routes: APIRouter, pages: Pages) -> None:
    """The routes that only show."""
    desk = pages.desk

    @routes.get("/limits")
    def units(
        request: Request, site: Annotated[str | None, Query(max_length=32)] = None
    ) -> Response:
        if site is not None:
            pages.look.known_site(site)

        def context() -> Context:
            rows = unit_rows(desk, pages.in_force, site)
            more = max(0, len(rows) - ROWS_MAX)
            return {"rows": rows[:ROWS_MAX], "more": more, "site": site}

        return pages.page(request, "limits_list.html", context, TOPICS)

    @routes.get("/limits/{unit}")
    def unit_page(request: Request, unit: str) -> Response:
        pages.known(unit)

        def context() -> Context:
            row = unit_row(desk, pages.in_force, unit)
            return {
                "row": row,
                "before": stood_before(row.limits) if row.limits.wanted else 0,
                "limits": limit_rows(row.known.plan),
                "versions": version_rows(desk, unit),
            }

        return pages.page(request, "limits_unit.html", context, TOPICS)

    @routes.get("/limits/{unit}/propose")
    def propose_page(request: Request, unit: str) -> Response:
        given = dict(request.query_params)
        try:
            return pages.propose_page(request, pages.known(unit), given)
        except ChangeRefused as fault:
            return pages.propose_page(request, unit, given, str(fault), 422)

    @routes.get("/limits/{unit}/versions/{number}")
    def version_page(
        request: Request, unit: str, number: int, try_: Annotated[bool, Query(alias="try")] = False
    ) -> Response:
        pages.version(unit, number)

        def context() -> Context:
            return _version(pages, request, pages.version(unit, number), try_)

        return pages.page(request, "limits_version.html", context, TOPICS)


def _version(pages: Pages, request: Request, version: Version, try_: bool) -> Context:
    desk, caller = pages.desk, caller_of(request)
    refused, rows = "", []
    try:
        plan = plan_of(version, desk.insulators(version.unit), desk.copy(version.unit))
        rows = limit_rows(plan)
    except ChangeRefused as fault:
        refused = str(fault)
    has_accounts = pages.look.gate.door is not None
    own = has_accounts and caller.name.casefold() == version.author.casefold()
    tries = (try_ or version.status is Status.PROPOSED) and not refused
    row = unit_row(desk, pages.in_force, version.unit)
    return {
        "row": row,
        "one": version_row(desk, version),
        "limits": rows,
        "refused": refused,
        "is_own": own,
        "trial": None,
        **(pages.tried(version.unit, version.alarms) if tries else {}),
    }


def _months(trial: Trial) -> Context:
    if trial.found is None:
        return {"counts": [], "differing": []}
    both = trial.found.comparison
    listed = [(one, False) for one in both.only_a[:SHOWN_MAX]]
    listed += [(one, True) for one in both.only_b[:SHOWN_MAX]]
    differing = sorted(listed, key=lambda pair: pair[0].start_us)
    return {"counts": _counts(trial.found), "differing": differing}


def _counts(found: Preview) -> list[Count]:
    both = Counter(pair.a.alarm for pair in found.comparison.both)
    gone = Counter(one.alarm for one in found.comparison.only_a)
    new = Counter(one.alarm for one in found.comparison.only_b)
    return [
        Count(one, both[one] + gone[one], both[one] + new[one], gone[one], new[one])
        for one in sorted(both | gone | new)
    ]
