"""A console with a desk of limits, and a unit that takes and answers sheets as the edge does."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from edge.daemon.limit_sheets import InForce, heard
from edge.records import Stream, UnitEvent
from edge.settings import Settings
from gateway.accounts.roles import Role
from gateway.books import Books
from gateway.console.rooms import Room
from gateway.history.store import Commit
from gateway.limits.api import limits_room
from gateway.limits.desk import Around, LimitsDesk
from gateway.settings import Site, Unit
from tests.gateway.build import MINUTE_US, START_US, commit, epoch_start, key
from tests.gateway.console.house import House
from tests.gateway.limits.build import INSULATORS, SETTINGS, SITE, UNIT, plan
from tests.gateway.limits.night import HOURS, streams

REGISTER = {
    SITE: Site(title="Gannet Stack", units={"pole-1": Unit(insulators=INSULATORS)}),
    "north-head": Site(title="North Head", units={"m1": Unit(insulators=("A1", "B2"))}),
}
"""Of the second unit nobody here knows the settings."""


@dataclass
class LimitsHouse(House):
    """away: the unit hears nothing. answers: what it said and what has not come in yet."""

    register: dict[str, Site] = field(default_factory=lambda: dict(REGISTER))
    copies: dict[str, Settings] = field(default_factory=lambda: {UNIT: SETTINGS})
    now_us: int = START_US + (60 * HOURS + 1) * MINUTE_US
    away: bool = False
    answers: list[UnitEvent] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.unit = InForce(None, plan(None))
        super().__post_init__()
        for name in ("mk", "jo"):
            if self.accounts:
                self.account(name, Role.ENGINEER)

    def _rooms(self) -> tuple[Room, ...]:
        self.books = Books(self.folder)
        self.limits = LimitsDesk(
            Around(
                books=self.books,
                history=self.history,
                register=self.register,
                copies=self.copies,
                send=self._take,
                now_us=lambda: self.now_us,
                records_sha=lambda unit: self.unit.plan.settings_sha if unit == UNIT else "",
                changed=lambda: self.feed.touch(["limits"]),
            )
        )
        return (*self.rooms, limits_room(self.limits))

    def _take(self, topic: str, payload: bytes) -> None:
        if not self.away and topic == f"seafret/1/{UNIT}/down/limits":
            self.unit, event = heard(self.unit, payload, UNIT, plan, self.now_us, True)
            self.answers.append(event)

    def _committed(self, site: str, made: Commit) -> None:
        self.limits.on_commit(site, made)

    def answer(self) -> None:
        """What the unit said comes in."""
        events, self.answers = self.answers, []
        self.commit(*events, stream=Stream.HEALTH, unit=UNIT)

    def tick(self, minutes: float = 0.0) -> None:
        super().tick(minutes)
        self.limits.tick()

    def live_through(self) -> None:
        """The night's records are in the history; the alarm list has not heard of them."""
        for stream, records in streams().items():
            all_of = [epoch_start(), *records]
            self.writers[SITE].append(commit(1, all_of, key(stream, UNIT)))
            self.numbers[UNIT, stream] = len(all_of)

    def close(self) -> None:
        super().close()
        self.books.close()


def form(house: LimitsHouse, client: Any, **fields: str) -> dict[str, str]:
    """Fields with the key of the client's session; `__` in a name is a dot, `_of_` nothing."""
    key = {"form_key": house.form_key(client)} if house.accounts else {}
    return key | {name.replace("__", "."): said for name, said in fields.items()}
