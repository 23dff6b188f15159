"""Limits from the gateway, taken or refused: the plan that decides, and the event that says so."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass

from edge.decide.binding import DecisionPlan
from edge.limits import APPLIED, REFUSED, Sheet, check_succession, read_letter, sheet_of
from edge.records import UnitEvent
from edge.settings import SettingsError
from edge.wire import Refused

log = logging.getLogger("seafret.edge")

STATE = "limits"
"""Name of the state in the durable file."""

WHY_MAX = 200
"""A longer reason is cut; it travels in a record."""

Bound = Callable[[Sheet | None], DecisionPlan]
"""The plan with a sheet. Raises SettingsError where the unit's sensors cannot work with it."""


@dataclass(frozen=True, slots=True, eq=False)
class InForce:
    """What is decided with. sheet: None while the settings file's own limits stand."""

    sheet: Sheet | None
    plan: DecisionPlan

    @property
    def plain(self) -> object:
        """As the durable file keeps it."""
        return None if self.sheet is None else self.sheet.plain()


def recalled(kept: object, bound: Bound, at_us: int) -> tuple[InForce, tuple[UnitEvent, ...]]:
    """What a restart decides with. A kept sheet that no longer fits the settings file is dropped,
    and it is said."""
    if kept is None:
        return InForce(None, bound(None)), ()
    version = kept.get("version", 0) if isinstance(kept, dict) else 0
    try:
        sheet = sheet_of(kept)
        return InForce(sheet, bound(sheet)), ()
    except (Refused, SettingsError) as fault:
        own = InForce(None, bound(None))
        return own, (_refused(own, version, fault, at_us),)


def heard(
    now: InForce, payload: bytes, unit: str, bound: Bound, at_us: int, trusted: bool
) -> tuple[InForce, UnitEvent]:
    """After a sheet came. trusted: whether `at_us` is known well enough to call it expired."""
    version = 0
    try:
        sheet = read_letter(payload, unit, at_us if trusted else None)
        version = sheet.version
        check_succession(now.sheet, sheet)
        after = InForce(sheet, bound(sheet))
    except (Refused, SettingsError) as fault:
        return now, _refused(now, version, fault, at_us)
    return after, _applied(after, sheet, at_us)


def _applied(after: InForce, sheet: Sheet, at_us: int) -> UnitEvent:
    detail: dict[str, int | str] = {
        "version": sheet.version,
        "sheet": sheet.sha,
        "settings": after.plan.settings_sha,
    }
    return UnitEvent(event=APPLIED, at_us=at_us, detail=detail)


def _refused(now: InForce, version: int, fault: Exception, at_us: int) -> UnitEvent:
    reason = fault.reason if isinstance(fault, Refused) else "settings"
    detail: dict[str, int | str] = {
        "version": version,
        "in_force": 0 if now.sheet is None else now.sheet.version,
        "reason": reason,
        "why": str(fault)[:WHY_MAX],
    }
    return UnitEvent(event=REFUSED, at_us=at_us, detail=detail)
