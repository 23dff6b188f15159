"""Limits that come from the gateway: a sheet in place of the settings' own alarm table. Pure.

A sheet is whole: it names everything that the site sets differently from the program's defaults,
and what it does not name stands at its default. A sheet whose `alarms` is null gives the word back
to the unit's own settings file. Versions only rise; going back is a new version with old content.
"""

from __future__ import annotations

import hashlib
from typing import Annotated, Literal

from annotated_types import Ge, Le
from pydantic import Field, ValidationError

from edge.decide.binding import DecisionPlan
from edge.decide.definitions import Alarm
from edge.quantities import INT64_MAX
from edge.register import Part, Word
from edge.settings import AlarmPart, Settings, SettingsError, decision_plan
from edge.wire import UNIT_PATTERN, Refused, canonical, load_json

VERB = "limits"
"""The last level of the topic below `down`."""

APPLIED, REFUSED = "limits-applied", "limits-refused"
"""Unit events that answer a sheet. Applied: version, sheet, settings; refused: version, in_force,
reason, why. A `started` event says limits (the version, 0 for none) and sheet."""

VERSION_MAX = 1_000_000

Moment = Annotated[int, Ge(0), Le(INT64_MAX)]


class Sheet(Part):
    """One version of a unit's limits. approved_us: when; author and approver are two persons."""

    v: Literal[1] = 1
    unit: Annotated[str, Field(pattern=UNIT_PATTERN)]
    version: Annotated[int, Ge(1), Le(VERSION_MAX)]
    alarms: dict[str, AlarmPart] | None
    author: Word
    approver: Word
    approved_us: Moment

    @property
    def sha(self) -> str:
        """SHA-256 of the sheet's canonical JSON, hex, first 16 digits."""
        return hashlib.sha256(canonical(self.plain())).hexdigest()[:16]

    def plain(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return self.model_dump(mode="json")


class _Letter(Part):
    """A sheet on its way. expires_us: a unit that knows the time refuses it later."""

    sheet: Sheet
    expires_us: Moment


def letter(sheet: Sheet, expires_us: int) -> bytes:
    """The payload that carries a sheet to its unit."""
    return canonical({"sheet": sheet.plain(), "expires_us": expires_us})


def read_letter(payload: bytes, unit: str, now_us: int | None) -> Sheet:
    """The sheet of a payload. now_us: UTC, None while it is not trusted.

    Raises Refused with where, what was found and what is allowed.
    """
    load_json(payload)
    try:
        found = _Letter.model_validate_json(payload)
    except ValidationError as fault:
        raise Refused("fields", _first(fault)) from fault
    if found.sheet.unit != unit:
        raise Refused("unit", f"the sheet is for {found.sheet.unit}; this is {unit}")
    if now_us is not None and found.expires_us < now_us:
        raise Refused("expired", "the sheet came after its time; the gateway sends it again")
    return found.sheet


def sheet_of(plain: object) -> Sheet:
    """The sheet of `Sheet.plain`. Raises Refused."""
    try:
        return Sheet.model_validate_json(canonical(plain))
    except ValidationError as fault:
        raise Refused("fields", _first(fault)) from fault


def _first(fault: ValidationError) -> str:
    first = fault.errors()[0]
    where = ".".join(str(part) for part in first["loc"]) or "sheet"
    return f"{where}: {first['msg'].removeprefix('Value error, ')}"


def check_succession(in_force: Sheet | None, sheet: Sheet) -> None:
    """Raises Refused where the sheet is older than the one in force, or the same with other words.

    The same again is no fault: its confirmation was lost.
    """
    if in_force is None or sheet.version > in_force.version or sheet.sha == in_force.sha:
        return
    if sheet.version == in_force.version:
        raise Refused("conflict", f"version {sheet.version} is in force with other content")
    raise Refused(
        "older", f"version {sheet.version} is older than {in_force.version}, which is in force"
    )


def effective(settings: Settings, sheet: Sheet | None) -> Settings:
    """The settings with the sheet's limits in. Raises SettingsError for an alarm that is not."""
    if sheet is None or sheet.alarms is None:
        return settings
    known = [alarm.value for alarm in Alarm]
    for name in sheet.alarms:
        if name not in known:
            raise SettingsError(f"alarms.{name} is unknown; there are {', '.join(known)}")
    return settings.model_copy(update={"alarms": dict(sheet.alarms)})


def bound(settings: Settings, sheet: Sheet | None, rate_hz: float | None) -> DecisionPlan:
    """The plan that decides with a sheet. Raises SettingsError where a limit cannot work."""
    return decision_plan(effective(settings, sheet), rate_hz)
