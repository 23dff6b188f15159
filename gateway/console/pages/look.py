"""From what is known to a page: the templates, what every page has, and pages worked out once.

A page is asked for whole, or (by its own script) for its live parts alone; those are made once for
all who look at the same thing with the same role, and sent only when they differ from what the
page has.
"""

from __future__ import annotations

import hashlib
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, unquote
from zoneinfo import ZoneInfo

from fastapi import HTTPException, Request, Response
from jinja2 import ChoiceLoader, Environment, FileSystemLoader, PackageLoader, StrictUndefined

from edge.version import __version__
from gateway.accounts.people import Way
from gateway.accounts.roles import Act
from gateway.alarms.journal import Entry
from gateway.alarms.states import Shown
from gateway.console import words
from gateway.console.gate import FORM_KEY, Gate, caller_of
from gateway.console.limit_lines import DEFAULT_LINES, LimitLines
from gateway.console.present import Present, Told
from gateway.console.rooms import Door, Room
from gateway.console.sources import Sources
from gateway.console.static_files import Asset
from gateway.console.strip import strip_of
from gateway.history.store import HistoryFault
from gateway.settings import Console

PART_HEADER = "x-seafret-part"
HAVE_HEADER = "x-seafret-have"

KEPT_PARTS_MAX = 256
"""So many live parts are kept for others who look at the same; the oldest go first."""

KEPT_FOR_S = 1.0

DOORS = (
    Door("Fleet", "/"),
    Door("Alarms", "/alarms"),
    Door("Tasks", "/tasks"),
    Door("Units", "/units"),
    Door("Journal", "/journal"),
    Door("Hand-over", "/hand-over"),
    Door("Results", "/results"),
)
LAST_DOORS = (Door("About", "/about"),)

Context = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Taste:
    """What a person chose: theme (auto, day, night), times (local, utc), and without accounts the
    name that actions get."""

    theme: str = "auto"
    times: str = "local"
    name: str = ""


def taste_of(request: Request) -> Taste:
    """From cookies; whatever else they hold is not believed."""
    theme = request.cookies.get("seafret-theme", "auto")
    times = request.cookies.get("seafret-times", "local")
    name = unquote(request.cookies.get("seafret-name", ""))[:64]
    return Taste(
        theme if theme in ("auto", "day", "night") else "auto",
        times if times in ("local", "utc") else "local",
        name if name.isprintable() else "",
    )


class Look:
    """What the routes of all pages share."""

    def __init__(
        self,
        sources: Sources,
        present: Present,
        console: Console,
        gate: Gate,
        assets: Mapping[str, Asset],
        rooms: tuple[Room, ...],
    ) -> None:
        self.sources, self.present, self.console, self.gate = sources, present, console, gate
        self._zone = ZoneInfo(console.time_zone) if console.time_zone else None
        self._doors = (*DOORS, *(door for room in rooms for door in room.doors), *LAST_DOORS)
        self._in_force = tuple(room.in_force for room in rooms if room.in_force is not None)
        self.assets = assets
        self._environment = _environment(rooms)
        self._environment.globals["assets"] = assets
        self._one_at_a_time = threading.Lock()
        self._kept: OrderedDict[tuple[object, ...], tuple[float, int, str]] = OrderedDict()

    def times(self, request: Request) -> words.Times:
        """How times are shown to this person."""
        utc = taste_of(request).times == "utc"
        return words.Times(self._zone, utc, self.sources.now_us())

    def title_of(self, site: str) -> str:
        """A site as people say it."""
        return self.sources.register[site].title or site

    def limits_of(self, site: str, insulator: str) -> LimitLines:
        """Limits that an insulator's drawings show."""
        found = (in_force(site, insulator) for in_force in self._in_force)
        return next((one for one in found if one is not None), DEFAULT_LINES)

    def known_site(self, site: str) -> str:
        """The site. 404 where there is none."""
        if site not in self.sources.register:
            raise HTTPException(404, f"no site {site[:32]!r}; the fleet page has all of them")
        return site

    def entries_of(self, site: str, occurrence: int, start_us: int) -> list[Entry]:
        """The journal of one occurrence from a time on. 503 where it cannot be read."""
        found: list[Entry] = []
        after = 0
        try:
            while page := self.sources.desk().journal(site, after, start_us):
                found += [one for one in page if one.occurrence == occurrence]
                after = page[-1].number
        except HistoryFault as fault:
            raise HTTPException(503, str(fault)) from fault
        return found

    def page(
        self,
        request: Request,
        template: str,
        context: Callable[[Told], Context],
        topics: str = "",
        status: int = 200,
    ) -> Response:
        """The page, or its live parts. topics: what it wants to hear of, by words; "" is a page
        that stands still. context: only asked for where it is not at hand."""
        if request.headers.get(PART_HEADER) and topics:
            return self._part(request, template, context)
        told = self.present.told()
        whole = self._frame(request, told) | {"topics": topics, "part": False} | context(told)
        text = self._environment.get_template(template).render(whole)
        return Response(text, status, media_type="text/html; charset=utf-8")

    def stranger_page(
        self, request: Request, template: str, context: Context, status: int = 200
    ) -> Response:
        """A page for somebody who has not signed in: it tells nothing of the sites."""
        common = {
            "taste": taste_of(request),
            "request_path": "/sign-in",
            "version": __version__,
            "form_key": (FORM_KEY, ""),
        }
        text = self._environment.get_template(template).render(common | context)
        return Response(text, status, media_type="text/html; charset=utf-8")

    def _part(
        self, request: Request, template: str, context: Callable[[Told], Context]
    ) -> Response:
        caller, taste = caller_of(request), taste_of(request)
        key = (str(request.url), caller.role, caller.way is Way.OPEN, taste.times)
        with self._one_at_a_time:
            told = self.present.told()
            kept = self._kept.get(key)
            if kept is None or kept[1] != told.number or time.monotonic() - kept[0] > KEPT_FOR_S:
                text = self._live(request, template, told, context)
                kept = (time.monotonic(), told.number, text)
                self._kept[key] = kept
                self._kept.move_to_end(key)
                while len(self._kept) > KEPT_PARTS_MAX:
                    self._kept.popitem(last=False)
        text = kept[2]
        mark = hashlib.sha256(text.encode()).hexdigest()[:24]
        headers = {HAVE_HEADER: mark}
        if request.headers.get(HAVE_HEADER) == mark:
            return Response(status_code=204, headers=headers)
        return Response(text, media_type="text/html; charset=utf-8", headers=headers)

    def _live(
        self, request: Request, template: str, told: Told, context: Callable[[Told], Context]
    ) -> str:
        whole = self._frame(request, told) | {"topics": "", "part": True} | context(told)
        return self._environment.get_template(template).render(whole)

    def _frame(self, request: Request, told: Told) -> Context:
        """What every page may use."""
        caller, taste = caller_of(request), taste_of(request)
        times = self.times(request)
        return {
            "strip": strip_of(told, self.sources.standing(), self._doubtful_clock()),
            "doors": self._doors,
            "here": request.url.path,
            "request_path": request.url.path
            + (f"?{request.url.query}" if request.url.query else ""),
            "caller": caller,
            "taste": taste,
            "may": {act.value: caller.may(act) for act in Act},
            "is_open": caller.way is Way.OPEN,
            "asks_who": self.gate.door is not None,
            "form_key": (FORM_KEY, caller.csrf),
            "times": times,
            "now_us": told.picture.now_us,
            "rate": self.sources.rate,
            "version": __version__,
            "titles": {name: one.title or name for name, one in self.sources.register.items()},
            "calls": {name: one.call for name, one in self.sources.register.items()},
        }

    def _doubtful_clock(self) -> str:
        rate = self.sources.rate
        return "" if rate == 1.0 else f"test clock, {rate:.3g} times as fast"


def _environment(rooms: tuple[Room, ...]) -> Environment:
    own = PackageLoader("gateway.console", "templates")
    loaders = [own, *(FileSystemLoader(room.templates) for room in rooms if room.templates)]
    made = Environment(
        loader=ChoiceLoader(loaders), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    made.filters["q"] = lambda units, name: words.quantity(name, units)
    made.filters["since"] = words.since
    made.filters["grouped"] = lambda found: words.grouped(str(found))
    made.filters["lasting"] = words.span_text
    made.filters["part"] = lambda text: quote(str(text), safe="")
    made.globals.update(
        strokes=words.strokes,
        boxed=words.boxed,
        deciding=words.deciding_text,
        place_of=words.place_of,
        is_alarm=words.is_alarm,
        PRIORITY_WORD=words.PRIORITY_WORD,
        STATE_WORD=words.STATE_WORD,
        DATA_WORD=words.DATA_WORD,
        SURFACE=words.STATE_OF_SURFACE,
        Shown=Shown,
    )
    return made


def back_to(given: str | None, otherwise: str = "/") -> str:
    """Where to go on: a path of this console only."""
    if (
        given
        and given.startswith("/")
        and not given.startswith(("//", "/\\"))
        and given.isprintable()
    ):
        return given
    return otherwise
