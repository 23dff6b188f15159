"""How notices stand, as the API and the page tell it; never an address."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.notices import planning
from gateway.notices.addresses import way_of
from gateway.notices.calendar import next_us
from gateway.notices.desk import TRIAL_PAUSE_US, NoticesDesk
from gateway.notices.memory import Asked, Failure, Fate, Sent
from gateway.outward_settings import Recipient

US_PER_S = 1_000_000


@dataclass(frozen=True, slots=True)
class RecipientTold:
    """How a recipient stands. scheme: of the address. way: the same as people say it. sites: none
    named: all. failing_since_us, delivered_us: 0 where not, or never. test: the last daily test,
    None before the first."""

    name: str
    scheme: str
    way: str
    form: str
    order: int
    digest: bool
    sites: tuple[str, ...]
    failing_since_us: int
    delivered_us: int
    test: Sent | None


@dataclass(frozen=True, slots=True)
class RulesTold:
    """What is in force: settings, and what is built in."""

    test_at: str
    time_zone: str
    escalate_after_s: int
    escalating: tuple[int, ...]
    priorities: tuple[int, ...]
    quiet_s: int
    late_s: int
    try_again_s: tuple[int, ...]
    give_up_s: int
    trial_pause_s: int


@dataclass(frozen=True, slots=True)
class NoticesTold:
    """How notices stand. next_test_us: its absence then is the sign that nothing would come.
    test_arrived, test_recipients: of the last daily test. sent: the newest first. failure: the
    newest of all, None where nothing ever failed."""

    waiting: int
    queued: int
    tests: int
    last_test_day: str
    last_test_us: int
    test_arrived: int
    test_recipients: int
    next_test_us: int
    rules: RulesTold
    recipients: list[RecipientTold]
    sent: list[Sent]
    failure: Failure | None
    asked: list[Asked]


def notices_told(desk: NoticesDesk) -> NoticesTold:
    """How notices stand now."""
    planned, memory, settings = desk.planned, desk.memory, desk.settings
    last_us = max((one.queued_us for one in memory.tests.values()), default=0)
    newest = [one for one in memory.tests.values() if one.queued_us == last_us]
    return NoticesTold(
        waiting=len(planned.waiting),
        queued=planned.numbers,
        tests=planned.tests,
        last_test_day=planned.test_day,
        last_test_us=last_us,
        test_arrived=sum(one.fate is Fate.TAKEN for one in newest),
        test_recipients=len(newest),
        next_test_us=next_us(desk.now_us(), settings.test_at, settings.time_zone),
        rules=rules_told(desk),
        recipients=[_recipient(desk, one) for one in settings.recipients],
        sent=sorted(memory.sent.values(), key=lambda one: -one.number),
        failure=memory.failure,
        asked=list(reversed(memory.asked)),
    )


def _recipient(desk: NoticesDesk, one: Recipient) -> RecipientTold:
    scheme = desk.scheme(one.name)
    return RecipientTold(
        name=one.name,
        scheme=scheme,
        way=way_of(scheme),
        form=one.form,
        order=one.order,
        digest=one.digest,
        sites=one.sites,
        failing_since_us=desk.planned.failing.get(one.name, 0),
        delivered_us=desk.planned.delivered_us.get(one.name, 0),
        test=desk.memory.tests.get(one.name),
    )


def rules_told(desk: NoticesDesk) -> RulesTold:
    """The calendar and the escalation in force."""
    settings = desk.settings
    return RulesTold(
        test_at=settings.test_at,
        time_zone=settings.time_zone,
        escalate_after_s=settings.escalate_after_s,
        escalating=planning.ESCALATING,
        priorities=settings.priorities,
        quiet_s=planning.QUIET_US // US_PER_S,
        late_s=planning.LATE_US // US_PER_S,
        try_again_s=tuple(one // US_PER_S for one in planning.TRY_AGAIN_US),
        give_up_s=planning.GIVE_UP_US // US_PER_S,
        trial_pause_s=TRIAL_PAUSE_US // US_PER_S,
    )
