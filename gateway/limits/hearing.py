"""What a unit's own events say about its limits, as lines of the book. Pure."""

from __future__ import annotations

from typing import Any

from edge.limits import APPLIED, REFUSED
from edge.records import UnitEvent
from gateway.limits.book import Line, What
from gateway.limits.changing import sheet
from gateway.limits.versions import Status, UnitLimits

STARTED = "started"
TRIES_AGAIN = ("expired",)
"""Refusals that the next sending mends; they say nothing about the limits."""


def heard(limits: UnitLimits, event: UnitEvent, at_us: int) -> Line | None:
    """The line that an event makes; None where it is nothing new about limits."""
    if event.event == REFUSED:
        return _refused(limits, event, at_us)
    if event.event == APPLIED:
        number = _number(event, "version")
    elif event.event == STARTED and "limits" in event.detail:
        number = _number(event, "limits")
    else:
        return None
    if number and _is_ours(limits, number, str(event.detail.get("sheet", ""))):
        return _applied(limits, event, number, at_us)
    unknown = number > limits.highest or (number == limits.in_force and not limits.of(number))
    has = number if unknown else 0
    # None, or what this book does not know: a new durable file there, or another book here.
    return None if has == limits.in_force else _line(limits, What.FOUND, has, at_us)


def _applied(limits: UnitLimits, event: UnitEvent, number: int, at_us: int) -> Line | None:
    settings = str(event.detail.get("settings", ""))
    version = limits.versions[number]
    same = limits.in_force == number and version.status is Status.IN_FORCE
    if same and version.settings_sha == settings:
        return None
    told = str(event.detail.get("sheet", ""))
    return _line(limits, What.APPLIED, number, at_us, sheet=told, settings=settings)


def _refused(limits: UnitLimits, event: UnitEvent, at_us: int) -> Line | None:
    number, reason = _number(event, "version"), str(event.detail.get("reason", ""))
    version = limits.of(number)
    why = str(event.detail.get("why", ""))
    if reason in TRIES_AGAIN or version is None or version.refused_because == why:
        return None
    return _line(limits, What.REFUSED, number, at_us, reason=why)


def _number(event: UnitEvent, name: str) -> int:
    found = event.detail.get(name, 0)
    return found if isinstance(found, int) and found > 0 else 0


def _is_ours(limits: UnitLimits, number: int, told: str) -> bool:
    version = limits.of(number)
    return version is not None and bool(version.approved_us) and sheet(version).sha == told


def _line(limits: UnitLimits, what: What, version: int, at_us: int, **more: Any) -> Line:
    return Line(at_us=at_us, what=what, who=limits.unit, unit=limits.unit, version=version, **more)
