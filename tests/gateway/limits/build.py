"""A unit that takes and answers sheets as the edge's own code does, and a desk before it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from edge.daemon.limit_sheets import InForce, heard
from edge.decide.binding import DecisionPlan
from edge.limits import Sheet, bound
from edge.records import Stream, UnitEvent
from edge.settings import parse_settings
from gateway.books import Books
from gateway.history.sqlite_store import SqliteHistory
from gateway.limits.changing import Approve, Propose, RollBack, Withdraw
from gateway.limits.desk import Around, LimitsDesk
from gateway.limits.versions import Version
from gateway.settings import Site, Unit
from tests.edge.daemon.builders import RECORDED, settings_text
from tests.gateway.build import START_US, commit, key

UNIT = "gannet-stack.pole-1"
SITE = "gannet-stack"
MINUTE_US = 60_000_000
SETTINGS = parse_settings(settings_text(RECORDED), "edge.toml")
INSULATORS = ("old-post", "new-rubber")
REGISTER = {SITE: Site(units={"pole-1": Unit(insulators=INSULATORS)})}
WHOSE = {"owner": "asset desk", "reason": "tuned on last winter's nights"}


def arcing(at: int, **more: Any) -> dict[str, Any]:
    """Content of a version: arcing half-cycles a minute from which the alarm is on its way."""
    return {"arcing": WHOSE | {"limits": {"arcing_halfcycles_per_min": at}} | more}


def plan(sheet: Sheet | None) -> DecisionPlan:
    return bound(SETTINGS, sheet, 10_000.0)


class Room:
    """A desk, its books, and a unit that may be away. refuses: what the unit's sensors refuse."""

    def __init__(self, folder: Path, copies: bool = True) -> None:
        self.folder = folder
        self.history = SqliteHistory(folder / "history")
        self.writer = self.history.writer(SITE)
        self.books = Books(folder)
        self.copies = {UNIT: SETTINGS} if copies else {}
        self.now_us = START_US
        self.away = False
        self.unit = InForce(None, plan(None))
        self.sent: list[bytes] = []
        self.answers: list[UnitEvent] = []
        self.desk = self.open()

    def open(self) -> LimitsDesk:
        self.desk = LimitsDesk(
            Around(
                books=self.books,
                history=self.history,
                register=REGISTER,
                copies=self.copies,
                send=self._take,
                now_us=lambda: self.now_us,
                records_sha=lambda unit: self.unit.plan.settings_sha,
            )
        )
        return self.desk

    def _take(self, topic: str, payload: bytes) -> None:
        assert topic == f"seafret/1/{UNIT}/down/limits"
        self.sent.append(payload)
        if not self.away:
            self.unit, event = heard(self.unit, payload, UNIT, plan, self.now_us, True)
            self.answers.append(event)

    def say(self, *events: UnitEvent) -> None:
        """What the unit says comes in."""
        made = commit(1, [*events], key(Stream.HEALTH, UNIT))
        self.desk.on_commit(SITE, made)

    def answer(self) -> None:
        """All answers that the unit has given so far come in."""
        events, self.answers = self.answers, []
        if events:
            self.say(*events)

    def starts(self) -> None:
        """The unit starts anew and says what it decides with."""
        sheet = self.unit.sheet
        detail: dict[str, int | str] = {"settings": self.unit.plan.settings_sha}
        detail |= {"limits": 0} if sheet is None else {"limits": sheet.version, "sheet": sheet.sha}
        self.say(UnitEvent(event="started", at_us=self.now_us, detail=detail))

    def pass_minutes(self, minutes: float) -> None:
        self.now_us += round(minutes * MINUTE_US)
        self.desk.tick()

    def propose(self, alarms: dict[str, Any], by: str = "mk") -> Version:
        return self.desk.change(
            Propose(at_us=self.now_us, by=by, unit=UNIT, reason="fewer false calls", alarms=alarms)
        )

    def approve(self, version: int, by: str = "jo") -> Version:
        return self.desk.change(Approve(at_us=self.now_us, by=by, unit=UNIT, version=version))

    def withdraw(self, version: int, by: str = "mk") -> Version:
        return self.desk.change(Withdraw(at_us=self.now_us, by=by, unit=UNIT, version=version))

    def roll_back(self, to: int | None = None, by: str = "jo") -> Version:
        return self.desk.change(
            RollBack(at_us=self.now_us, by=by, unit=UNIT, reason="missed a night", to=to)
        )

    def in_force(self, alarms: dict[str, Any]) -> Version:
        """Proposed, approved, sent, confirmed."""
        number = self.propose(alarms).number
        self.approve(number)
        self.answer()
        return self.desk.of(UNIT).versions[number]

    def close(self) -> None:
        self.writer.close()
        self.books.close()
