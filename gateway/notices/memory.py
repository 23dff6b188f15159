"""What was sent and how it went, for people who ask: a fold of the book of notices. Pure.

The book keeps everything; this keeps what a page shows. Folded again from the book after a restart,
it is the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

from gateway.notices.planning import GIVE_UP_US, Kind

SENT_MAX = 100
"""So many notices are shown, the newest; older ones are in the book."""

TESTING = (Kind.TEST, Kind.TRIAL)


class Fate(StrEnum):
    """How a notice went."""

    WAITS = "waits"
    TAKEN = "taken"
    FAILED = "failed"
    GIVEN_UP = "given-up"


@dataclass(frozen=True, slots=True)
class Sent:
    """One notice to one recipient. text: subject of a long one, else the whole. at_us: when its
    fate was last known. why: of the last failure, without the address."""

    number: int
    queued_us: int
    recipient: str
    kind: Kind
    site: str
    occurrence: int
    priority: int
    text: str
    fate: Fate = Fate.WAITS
    at_us: int = 0
    tries: int = 0
    why: str = ""


@dataclass(frozen=True, slots=True)
class Failure:
    """A try that failed. why: as the channel said it, without the address."""

    at_us: int
    recipient: str
    number: int
    why: str


@dataclass(frozen=True, slots=True)
class Asked:
    """Somebody asked for a trial. address: from where. to: a recipient, "" for all."""

    at_us: int
    by: str
    address: str
    to: str


@dataclass(frozen=True, slots=True)
class Memory:
    """sent: by number, the newest SENT_MAX. tests: the newest daily test of each recipient.
    failure: the newest of all. asked: trials that people asked for, the newest ASKED_MAX."""

    sent: Mapping[int, Sent] = field(default_factory=dict)
    tests: Mapping[str, Sent] = field(default_factory=dict)
    failure: Failure | None = None
    asked: tuple[Asked, ...] = ()


ASKED_MAX = 20


def fold(memory: Memory, lines: Iterable[Mapping[str, Any]]) -> Memory:
    """After lines of the book, in their order."""
    for line in lines:
        memory = _FOLDS[line["what"]](memory, line)
    return memory


def _queued(memory: Memory, line: Mapping[str, Any]) -> Memory:
    sent = Sent(
        number=line["number"],
        queued_us=line["at_us"],
        recipient=line["recipient"],
        kind=Kind(line["kind"]),
        site=line["site"],
        occurrence=line["occurrence"],
        priority=line["priority"],
        text=line["subject"] or line["body"],
        at_us=line["at_us"],
    )
    return _with(memory, sent)


def _with(memory: Memory, sent: Sent) -> Memory:
    kept = {**memory.sent, sent.number: sent}
    while len(kept) > SENT_MAX:
        del kept[min(kept)]
    tests = memory.tests
    if sent.kind is Kind.TEST:
        tests = {**tests, sent.recipient: sent}
    return replace(memory, sent=kept, tests=tests)


def _known(memory: Memory, number: int) -> Sent | None:
    """Also a daily test whose line has left the list."""
    found = memory.sent.get(number)
    return found or next((one for one in memory.tests.values() if one.number == number), None)


def _changed(memory: Memory, before: Sent, after: Sent) -> Memory:
    """Where it is still shown."""
    sent, tests = memory.sent, memory.tests
    if before.number in sent:
        sent = {**sent, before.number: after}
    held = tests.get(before.recipient)
    if held is not None and held.number == before.number:
        tests = {**tests, before.recipient: after}
    return replace(memory, sent=sent, tests=tests)


def _delivered(memory: Memory, line: Mapping[str, Any]) -> Memory:
    before = _known(memory, line["number"])
    if before is None:
        return memory
    taken = replace(before, fate=Fate.TAKEN, at_us=line["at_us"], tries=before.tries + 1)
    return _changed(memory, before, taken)


def _failed(memory: Memory, line: Mapping[str, Any]) -> Memory:
    before, at_us = _known(memory, line["number"]), line["at_us"]
    if before is None:
        return memory
    if not line.get("tried", True):
        given_up = replace(before, fate=Fate.GIVEN_UP, at_us=at_us, why=before.why or line["why"])
        return _changed(memory, before, given_up)
    fate = Fate.GIVEN_UP if at_us - before.queued_us >= GIVE_UP_US else Fate.FAILED
    after = replace(before, fate=fate, at_us=at_us, tries=before.tries + 1, why=line["why"])
    failure = Failure(at_us, before.recipient, before.number, line["why"])
    return replace(_changed(memory, before, after), failure=failure)


def _asked(memory: Memory, line: Mapping[str, Any]) -> Memory:
    asked = Asked(line["at_us"], line["by"], line["address"], line["to"])
    return replace(memory, asked=(*memory.asked, asked)[-ASKED_MAX:])


_FOLDS = {"queued": _queued, "delivered": _delivered, "failed": _failed, "asked": _asked}
