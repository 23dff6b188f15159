"""Versions of limits by unit: a fold over the book, and the rules of changing it. Pure.

    proposed --approve--> approved --the unit's word--> in force --a later one--> replaced
       |                     |
       +--withdraw           +--the unit's word--> refused

An author never approves; going back takes one person, because two have stood for that content
before. Numbers only rise, and the unit takes nothing that is older than what it has.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

from edge.limits import VERSION_MAX
from gateway.limits.book import Line, What


class Status(StrEnum):
    """Where a version stands."""

    PROPOSED = "proposed"
    APPROVED = "approved"  # on its way: approved, and not confirmed by the unit yet
    IN_FORCE = "in-force"
    REFUSED = "refused"  # by the unit
    REPLACED = "replaced"
    WITHDRAWN = "withdrawn"


NEXT: dict[tuple[Status, What], Status] = {
    (Status.PROPOSED, What.APPROVED): Status.APPROVED,
    (Status.PROPOSED, What.WITHDRAWN): Status.WITHDRAWN,
    (Status.APPROVED, What.APPLIED): Status.IN_FORCE,
    (Status.APPROVED, What.REFUSED): Status.REFUSED,
    (Status.REFUSED, What.APPLIED): Status.IN_FORCE,
}
"""What moves a version; every other word about it leaves it as it is."""


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a unit's limits. settings_sha: what the unit's records say under it."""

    unit: str
    number: int
    alarms: Mapping[str, Any] | None
    author: str
    reason: str
    proposed_us: int
    origin: int = 0
    status: Status = Status.PROPOSED
    approver: str = ""
    approved_us: int = 0
    sent_us: int = 0
    applied_us: int = 0
    settings_sha: str = ""
    refused_because: str = ""


@dataclass(frozen=True, slots=True)
class UnitLimits:
    """A unit's limits. wanted: newest approved version, 0 none. in_force: the one that the unit has
    confirmed, 0 while its settings file's own limits stand. highest: no new one goes below it.
    found_us: when the unit last was found with another version than was believed."""

    unit: str
    versions: Mapping[int, Version] = field(default_factory=dict)
    wanted: int = 0
    in_force: int = 0
    highest: int = 0
    found_us: int = 0

    def of(self, number: int) -> Version | None:
        """A version, None where there is none of that number."""
        return self.versions.get(number)


Held = Mapping[str, UnitLimits]


def fold(held: Held, lines: Iterable[Line]) -> Held:
    """The units' limits after lines, in their order."""
    for line in lines:
        before = held.get(line.unit, UnitLimits(line.unit))
        held = {**held, line.unit: _FOLDS[line.what](before, line)}
    return held


def _put(limits: UnitLimits, version: Version) -> UnitLimits:
    highest = max(limits.highest, version.number)
    versions = {**limits.versions, version.number: version}
    return replace(limits, versions=versions, highest=highest)


def _proposed(limits: UnitLimits, line: Line) -> UnitLimits:
    return _put(
        limits,
        Version(
            line.unit, line.version, line.alarms, line.who, line.reason, line.at_us, line.origin
        ),
    )


def _moved(limits: UnitLimits, line: Line, **changes: Any) -> UnitLimits:
    version = limits.of(line.version)
    if version is None:
        return limits
    status = NEXT.get((version.status, line.what), version.status)
    return _put(limits, replace(version, status=status, **changes))


def _approved(limits: UnitLimits, line: Line) -> UnitLimits:
    moved = _moved(limits, line, approver=line.who, approved_us=line.at_us)
    return replace(moved, wanted=line.version)


def _rolled_back(limits: UnitLimits, line: Line) -> UnitLimits:
    made = _proposed(limits, line)
    origin = limits.of(line.origin)
    approver = "settings file" if origin is None else f"{origin.approver} (version {line.origin})"
    version = replace(
        made.versions[line.version],
        status=Status.APPROVED,
        approver=approver,
        approved_us=line.at_us,
    )
    return replace(_put(made, version), wanted=line.version)


def _sent(limits: UnitLimits, line: Line) -> UnitLimits:
    return _moved(limits, line, sent_us=line.at_us)


def _applied(limits: UnitLimits, line: Line) -> UnitLimits:
    if limits.of(line.version) is None:
        return limits
    before = limits.of(limits.in_force)
    if before is not None and before.number != line.version:
        limits = _put(limits, replace(before, status=Status.REPLACED))
    moved = _moved(limits, line, applied_us=line.at_us, settings_sha=line.settings)
    return replace(moved, in_force=line.version)


def _refused(limits: UnitLimits, line: Line) -> UnitLimits:
    return _moved(limits, line, refused_because=line.reason)


def _found(limits: UnitLimits, line: Line) -> UnitLimits:
    """A unit that lost its durable file decides by its settings file again; one that has a version
    which this book does not know outlived the book."""
    highest = max(limits.highest, line.version)
    return replace(limits, in_force=line.version, highest=highest, found_us=line.at_us)


def _withdrawn(limits: UnitLimits, line: Line) -> UnitLimits:
    return _moved(limits, line)


_FOLDS: dict[What, Callable[[UnitLimits, Line], UnitLimits]] = {
    What.PROPOSED: _proposed,
    What.APPROVED: _approved,
    What.WITHDRAWN: _withdrawn,
    What.ROLLED_BACK: _rolled_back,
    What.SENT: _sent,
    What.APPLIED: _applied,
    What.REFUSED: _refused,
    What.FOUND: _found,
}


def next_number(limits: UnitLimits) -> int:
    """Of the next version."""
    assert limits.highest < VERSION_MAX, "a million versions of one unit's limits"
    return limits.highest + 1
