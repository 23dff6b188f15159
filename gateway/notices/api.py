"""Notices over the API: whether they arrive, and when the next test is due."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter

from gateway.accounts.roles import Act
from gateway.console.rooms import Room
from gateway.notices.calendar import next_us
from gateway.notices.desk import NoticesDesk

BASE = "/api/1/notices"

ACTS: dict[tuple[str, str], Act] = {("GET", BASE): Act.READ}


@dataclass(frozen=True, slots=True)
class RecipientTold:
    """How a recipient stands. failing_since_us, delivered_us: 0 where not, or never."""

    name: str
    form: str
    order: int
    failing_since_us: int
    delivered_us: int


@dataclass(frozen=True, slots=True)
class NoticesTold:
    """How notices stand. next_test_us: its absence then is the sign that nothing would come."""

    waiting: int
    queued: int
    tests: int
    last_test_day: str
    next_test_us: int
    recipients: list[RecipientTold]


def notices_room(desk: NoticesDesk) -> Room:
    """Routes and who may use them; addresses are not told."""
    routes = APIRouter(prefix=BASE)

    @routes.get("")
    def told() -> NoticesTold:
        return notices_told(desk)

    return Room(routes, ACTS)


def notices_told(desk: NoticesDesk) -> NoticesTold:
    """How notices stand now."""
    planned, settings = desk.planned, desk.settings
    return NoticesTold(
        waiting=len(planned.waiting),
        queued=planned.numbers,
        tests=planned.tests,
        last_test_day=planned.test_day,
        next_test_us=next_us(desk.now_us(), settings.test_at, settings.time_zone),
        recipients=[
            RecipientTold(
                one.name,
                one.form,
                one.order,
                planned.failing.get(one.name, 0),
                planned.delivered_us.get(one.name, 0),
            )
            for one in settings.recipients
        ],
    )
