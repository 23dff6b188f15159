"""What a person may do with limits, and what is refused with a reason. Pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from edge.limits import Sheet, sheet_of
from edge.wire import Refused
from gateway.limits.book import Line, What
from gateway.limits.versions import Status, UnitLimits, Version, next_number

TEXT_MAX = 400
"""Longer reasons are refused, not cut."""

OWN_FILE = 0
"""Going back to version 0 gives the word back to the unit's settings file."""


class ChangeRefused(ValueError):
    """The person's: the rules of changing limits do not allow it; the text says what they allow."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Who acts, when, from where, on which unit, and why."""

    at_us: int
    by: str
    unit: str
    address: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Propose(Person):
    """alarms: the whole content, as the settings file would say it, by alarm."""

    alarms: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Approve(Person):
    """By another person than the author."""

    version: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Withdraw(Person):
    """A proposal that nobody has approved."""

    version: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RollBack(Person):
    """to: a version that was approved before, 0 the unit's own settings file; None: the one that
    stood before the one in force."""

    to: int | None = None


Change = Propose | Approve | Withdraw | RollBack


def change(limits: UnitLimits, asked: Change) -> Line:
    """The line that a change makes. Raises ChangeRefused."""
    if not asked.by.strip():
        raise ChangeRefused("nobody is named; the book keeps who changed limits")
    if len(asked.reason) > TEXT_MAX:
        raise ChangeRefused(f"the reason has {len(asked.reason)} characters; at most {TEXT_MAX}")
    found: Line = _CHANGES[type(asked)](limits, asked)
    return found


def sheet(version: Version) -> Sheet:
    """What the unit gets of an approved version. Raises ChangeRefused where it is no sheet."""
    plain = {
        "v": 1,
        "unit": version.unit,
        "version": version.number,
        "alarms": version.alarms,
        "author": version.author,
        "approver": version.approver or "-",
        "approved_us": version.approved_us,
    }
    try:
        return sheet_of(plain)
    except Refused as fault:
        raise ChangeRefused(f"limits of {version.unit}: {fault}") from fault


def _line(asked: Person, what: What, version: int, **more: Any) -> Line:
    return Line(
        at_us=asked.at_us,
        what=what,
        who=asked.by.strip(),
        unit=asked.unit,
        version=version,
        address=asked.address,
        reason=asked.reason,
        **more,
    )


def _propose(limits: UnitLimits, asked: Propose) -> Line:
    if not asked.reason.strip():
        raise ChangeRefused("the reason is empty; say why these limits are to change")
    number = next_number(limits)
    drafted = Version(asked.unit, number, asked.alarms, asked.by, asked.reason, asked.at_us)
    alarms = sheet(drafted).plain()["alarms"]
    assert isinstance(alarms, dict)
    return _line(asked, What.PROPOSED, number, alarms=alarms)


def _version(limits: UnitLimits, asked: Approve | Withdraw) -> Version:
    version = limits.of(asked.version)
    if version is None or version.status is not Status.PROPOSED:
        stands = "is not there" if version is None else f"is {version.status}"
        raise ChangeRefused(f"version {asked.version} of {asked.unit} {stands}; a proposed one may")
    return version


def _approve(limits: UnitLimits, asked: Approve) -> Line:
    version = _version(limits, asked)
    if version.author.casefold() == asked.by.strip().casefold():
        raise ChangeRefused("an author may not approve; a second person must")
    if version.number < max(limits.wanted, limits.in_force):
        raise ChangeRefused(
            f"version {version.number} is older than {max(limits.wanted, limits.in_force)}, which "
            "was approved since; propose it again"
        )
    return _line(asked, What.APPROVED, version.number)


def _withdraw(limits: UnitLimits, asked: Withdraw) -> Line:
    return _line(asked, What.WITHDRAWN, _version(limits, asked).number)


def _roll_back(limits: UnitLimits, asked: RollBack) -> Line:
    if not asked.reason.strip():
        raise ChangeRefused("the reason is empty; say why these limits go back")
    to = stood_before(limits) if asked.to is None else asked.to
    origin = limits.of(to)
    if to != OWN_FILE and (origin is None or not origin.applied_us):
        raise ChangeRefused(f"version {to} of {asked.unit} was never in force; {_allowed(limits)}")
    alarms = None if origin is None else dict(origin.alarms) if origin.alarms is not None else None
    return _line(asked, What.ROLLED_BACK, next_number(limits), alarms=alarms, origin=to)


def stood_before(limits: UnitLimits) -> int:
    """The version whose content stood before the newest approved one; 0 the settings file.

    Raises ChangeRefused where none is approved."""
    if not limits.wanted:
        raise ChangeRefused(f"{limits.unit} has no approved version to go back from")
    was = [
        one.number
        for one in limits.versions.values()
        if one.applied_us and one.number < limits.wanted
    ]
    return max(was, default=OWN_FILE)


def _allowed(limits: UnitLimits) -> str:
    was = sorted(one.number for one in limits.versions.values() if one.applied_us)
    return f"one may go back to {', '.join(map(str, [OWN_FILE, *was]))}"


_CHANGES: dict[type, Callable[[UnitLimits, Any], Line]] = {
    Propose: _propose,
    Approve: _approve,
    Withdraw: _withdraw,
    RollBack: _roll_back,
}
