"""Whom to tell of what, and when: rules over what the alarm list announces. Pure.

One notice for each occurrence and rise of its priority; the second person when nobody has
acknowledged; the end to those who had the beginning; a test a day to all. Nothing is ever told of
what came late, and nothing twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

from gateway.outward_settings import Notices, Recipient

LATE_US = 15 * 60_000_000
"""An announcement older than this when it is read (the gateway was away) is not sent on."""

QUIET_US = 30 * 60_000_000
"""A site sends at most one short notice in this time; a rise of priority, priority 1 and a
worsening alarm are exempt. What is held back stands in the list; long notices are not held back."""

ESCALATING = (1, 2)
"""Priorities for which the second person is told."""

GIVE_UP_US = 3_600_000_000
"""A notice that could not be delivered for so long is given up: it would be news no more."""
NOT_IN_TIME = "could not be sent within an hour; it would be news no more"

TRY_AGAIN_US = (30_000_000, 60_000_000, 120_000_000, 300_000_000, 600_000_000)
"""Waits after the first, second, ... failure; the last one repeats."""


class Kind(StrEnum):
    """Kinds of notices."""

    CALL = "call"
    ESCALATION = "escalation"
    CLEAR = "clear"
    DIGEST = "digest"
    TEST = "test"
    TRIAL = "trial"


@dataclass(frozen=True, slots=True)
class Notice:
    """One message to one recipient. due_us: when it is tried next."""

    number: int
    recipient: str
    kind: Kind
    site: str
    occurrence: int
    priority: int
    subject: str
    body: str
    queued_us: int
    tries: int = 0
    due_us: int = 0


@dataclass(frozen=True, slots=True)
class Told:
    """An occurrence that somebody was told of. recipients: who. facts: what the notice rested on.
    escalated: priority for which the second person was told, 0 none."""

    priority: int
    told_us: int
    recipients: tuple[str, ...]
    facts: Mapping[str, Any] = field(default_factory=dict)
    escalated: int = 0


Occurrence = tuple[str, int]
"""Site and running number."""


@dataclass(frozen=True, slots=True)
class Planned:
    """waiting: not delivered yet. told: occurrences that are not over. quiet_us: when a site last
    sent a short notice. failing: since when nothing reaches a recipient. tests: how many, and the
    day of the last one. delivered_us: when something last reached each recipient. digest_us: end of
    the newest storm of a site that a digest told of."""

    waiting: Mapping[int, Notice] = field(default_factory=dict)
    told: Mapping[Occurrence, Told] = field(default_factory=dict)
    quiet_us: Mapping[str, int] = field(default_factory=dict)
    failing: Mapping[str, int] = field(default_factory=dict)
    delivered_us: Mapping[str, int] = field(default_factory=dict)
    digest_us: Mapping[str, int] = field(default_factory=dict)
    numbers: int = 0
    tests: int = 0
    test_day: str = ""


@dataclass(frozen=True, slots=True)
class Announced:
    """What the alarm list announced, as planning wants it."""

    site: str
    occurrence: int
    priority: int
    at_us: int
    late: bool
    worsening: bool


@dataclass(frozen=True, slots=True)
class Standing:
    """An occurrence as the alarm list has it now."""

    is_over: bool
    acknowledged: bool


def callees(
    planned: Planned, settings: Notices, call: Announced, now_us: int
) -> tuple[Recipient, ...]:
    """Who is to be told of an announcement; nobody where the rules say so."""
    if call.late or not 0 <= now_us - call.at_us < LATE_US:
        return ()
    if call.priority not in settings.priorities:
        return ()
    before = planned.told.get((call.site, call.occurrence))
    if before is not None and call.priority >= before.priority:
        return ()
    urgent = before is not None or call.worsening or call.priority == 1
    last_us = planned.quiet_us.get(call.site)
    held = not urgent and last_us is not None and 0 <= now_us - last_us < QUIET_US
    return tuple(
        one
        for one in settings.recipients
        if one.order == 1 and covers(one, call.site) and not (held and one.form == "short")
    )


def covers(recipient: Recipient, site: str) -> bool:
    """Whether a site is a recipient's; without sites all are."""
    return not recipient.sites or site in recipient.sites


def escalations(
    planned: Planned, settings: Notices, standing: Mapping[Occurrence, Standing], now_us: int
) -> Iterator[tuple[Occurrence, Told, tuple[Recipient, ...]]]:
    """Occurrences that nobody has acknowledged for too long, and who is told now."""
    for which, told in planned.told.items():
        found = standing.get(which)
        if found is None or found.is_over or found.acknowledged:
            continue
        waited = now_us - told.told_us >= settings.escalate_after_s * 1_000_000
        due = waited and told.priority in ESCALATING and told.escalated != told.priority
        second = tuple(one for one in settings.recipients if one.order == 2)
        second = tuple(one for one in second if covers(one, which[0]))
        if due and second:
            yield which, told, second


def ended(
    planned: Planned, standing: Mapping[Occurrence, Standing]
) -> Iterator[tuple[Occurrence, Told, bool]]:
    """Occurrences that are over, who was told of them, and whether they were acknowledged."""
    for which, told in planned.told.items():
        found = standing.get(which)
        if found is not None and found.is_over:
            yield which, told, found.acknowledged


def due(planned: Planned, now_us: int) -> tuple[Notice, ...]:
    """Notices to try now, in the order in which they were queued, calls before all else."""
    old = stale(planned, now_us)
    found = [one for one in planned.waiting.values() if one.due_us <= now_us and one not in old]
    return tuple(sorted(found, key=lambda one: (one.kind is not Kind.CALL, one.number)))


def stale(planned: Planned, now_us: int) -> tuple[Notice, ...]:
    """Notices that waited too long to be sent, whatever held them up."""
    waiting = planned.waiting.values()
    return tuple(one for one in waiting if now_us - one.queued_us >= GIVE_UP_US)


def fold(planned: Planned, lines: Iterable[Mapping[str, Any]]) -> Planned:
    """After lines of the book, in their order."""
    for line in lines:
        planned = _FOLDS[line["what"]](planned, line)
    return planned


def _queued(planned: Planned, line: Mapping[str, Any]) -> Planned:
    at_us, kind, which = line["at_us"], Kind(line["kind"]), (line["site"], line["occurrence"])
    notice = Notice(
        line["number"],
        line["recipient"],
        kind,
        line["site"],
        line["occurrence"],
        line["priority"],
        line["subject"],
        line["body"],
        at_us,
        due_us=at_us,
    )
    planned = replace(
        planned,
        waiting={**planned.waiting, notice.number: notice},
        numbers=max(planned.numbers, notice.number),
    )
    if kind is Kind.CALL:
        return _called(planned, which, notice, line)
    if kind is Kind.ESCALATION and which in planned.told:
        told = planned.told[which]
        names = tuple(dict.fromkeys((*told.recipients, notice.recipient)))
        again = replace(told, recipients=names, escalated=told.priority)
        return replace(planned, told={**planned.told, which: again})
    if kind is Kind.CLEAR:
        left = {one: told for one, told in planned.told.items() if one != which}
        return replace(planned, told=left)
    if kind is Kind.DIGEST:
        until_us = line.get("until_us", at_us)  # older books do not say it
        return replace(planned, digest_us={**planned.digest_us, notice.site: until_us})
    if kind is Kind.TEST and line["day"] != planned.test_day:
        return replace(planned, tests=planned.tests + 1, test_day=line["day"])
    return planned


def _called(
    planned: Planned, which: Occurrence, notice: Notice, line: Mapping[str, Any]
) -> Planned:
    before = planned.told.get(which)
    names = (notice.recipient,) if before is None else (*before.recipients, notice.recipient)
    escalated = 0 if before is None else before.escalated
    told_us = notice.queued_us
    if before is not None and before.priority == notice.priority:
        told_us = before.told_us
    recipients = tuple(dict.fromkeys(names))
    told = Told(notice.priority, told_us, recipients, line["facts"], escalated)
    quiet = {notice.site: notice.queued_us} if line["form"] == "short" else {}
    return replace(
        planned,
        told={**planned.told, which: told},
        quiet_us={**planned.quiet_us, **quiet},
    )


def _asked(planned: Planned, line: Mapping[str, Any]) -> Planned:
    """Who asked for a trial is for people to read."""
    return planned


def _delivered(planned: Planned, line: Mapping[str, Any]) -> Planned:
    notice = planned.waiting.get(line["number"])
    if notice is None:
        return planned
    return replace(
        planned,
        waiting={n: one for n, one in planned.waiting.items() if n != notice.number},
        failing={name: us for name, us in planned.failing.items() if name != notice.recipient},
        delivered_us={**planned.delivered_us, notice.recipient: line["at_us"]},
    )


def _failed(planned: Planned, line: Mapping[str, Any]) -> Planned:
    notice, at_us = planned.waiting.get(line["number"]), line["at_us"]
    if notice is None:
        return planned
    failing = planned.failing
    if line.get("tried", True):
        failing = {notice.recipient: at_us, **failing}
    if at_us - notice.queued_us >= GIVE_UP_US:
        left = {n: one for n, one in planned.waiting.items() if n != notice.number}
        return replace(planned, waiting=left, failing=failing)
    wait_us = TRY_AGAIN_US[min(notice.tries, len(TRY_AGAIN_US) - 1)]
    again = replace(notice, tries=notice.tries + 1, due_us=at_us + wait_us)
    return replace(planned, waiting={**planned.waiting, notice.number: again}, failing=failing)


_FOLDS = {"queued": _queued, "delivered": _delivered, "failed": _failed, "asked": _asked}
