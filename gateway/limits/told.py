"""Limits as they are told: a unit's versions, what each limit is now and was, and what is wrong."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from edge.decide.definitions import AlarmDefinition
from gateway.limits.desk import LimitsDesk
from gateway.limits.preview import Preview, plan_of
from gateway.limits.versions import Version
from gateway.replay.occurrences import Occurrence


@dataclass(frozen=True, slots=True)
class LimitTold:
    """One limit of one alarm. subject: insulator, "" for the unit or where all are alike."""

    alarm: str
    subject: str
    quantity: str
    unit: str
    at: int
    deadband: int
    on_delay_s: int
    off_delay_s: int
    priority: int
    owner: str
    reason: str


@dataclass(frozen=True, slots=True)
class VersionTold:
    """alarms: what differs from the program's defaults; None: the unit's settings file decides."""

    number: int
    status: str
    alarms: dict[str, Any] | None
    author: str
    reason: str
    proposed_us: int
    origin: int
    approver: str
    approved_us: int
    sent_us: int
    applied_us: int
    settings_sha: str
    refused_because: str


@dataclass(frozen=True, slots=True)
class UnitTold:
    """wanted, in_force: version numbers, 0: the unit's settings file. fault: "" where none."""

    unit: str
    wanted: int
    in_force: int
    fault: str
    fault_since_us: int
    has_copy: bool
    versions: list[VersionTold]


@dataclass(frozen=True, slots=True)
class OccurrenceTold:
    """One alarm that came, or would have come."""

    alarm: str
    subject: str
    priority: int
    start_us: int
    end_us: int | None


@dataclass(frozen=True, slots=True)
class PreviewTold:
    """recorded, would: announcements to the operating position. delays are of alarms in both."""

    unit: str
    version: int
    from_us: int
    to_us: int
    rows: int
    exact: bool
    only_recorded: list[OccurrenceTold]
    only_would: list[OccurrenceTold]
    both: int
    announced_recorded: int
    announced_would: int
    most_in_ten_minutes_recorded: int
    most_in_ten_minutes_would: int


def unit_told(desk: LimitsDesk, unit: str) -> UnitTold:
    """A unit's limits. Raises ChangeRefused."""
    limits, fault = desk.of(unit), desk.fault(unit)
    numbers = sorted(limits.versions, reverse=True)
    return UnitTold(
        unit=unit,
        wanted=limits.wanted,
        in_force=limits.in_force,
        fault="" if fault is None else fault.reason,
        fault_since_us=0 if fault is None else fault.since_us,
        has_copy=desk.copy(unit) is not None,
        versions=[version_told(limits.versions[number]) for number in numbers],
    )


def version_told(version: Version) -> VersionTold:
    """One version."""
    return VersionTold(
        number=version.number,
        status=version.status.value,
        alarms=None if version.alarms is None else dict(version.alarms),
        author=version.author,
        reason=version.reason,
        proposed_us=version.proposed_us,
        origin=version.origin,
        approver=version.approver,
        approved_us=version.approved_us,
        sent_us=version.sent_us,
        applied_us=version.applied_us,
        settings_sha=version.settings_sha,
        refused_because=version.refused_because,
    )


def limits_told(desk: LimitsDesk, version: Version) -> list[LimitTold]:
    """Every limit as it stands under a version. Raises ChangeRefused."""
    plan = plan_of(version, desk.insulators(version.unit), desk.copy(version.unit))
    found: dict[tuple[str, str, str], LimitTold] = {}
    for subject, bounds in [*plan.insulators.items(), ("", plan.unit)]:
        for one in bounds:
            for told in _of(one.definition, subject):
                found.setdefault((told.alarm, subject, told.quantity), told)
    return list(found.values())


def _of(definition: AlarmDefinition, subject: str) -> Iterable[LimitTold]:
    for limit in definition.limits:
        yield LimitTold(
            alarm=definition.id.value,
            subject=subject,
            quantity=limit.quantity,
            unit=limit.unit,
            at=limit.at,
            deadband=limit.deadband,
            on_delay_s=definition.on_delay_s,
            off_delay_s=definition.off_delay_s,
            priority=definition.priority,
            owner=definition.owner,
            reason=definition.reason,
        )


def preview_told(found: Preview, version: int) -> PreviewTold:
    """A preview; alarms in order of their start."""
    both = found.comparison
    return PreviewTold(
        unit=found.unit,
        version=version,
        from_us=found.from_us,
        to_us=found.to_us,
        rows=found.rows,
        exact=found.exact,
        only_recorded=[_occurrence(one) for one in both.only_a],
        only_would=[_occurrence(one) for one in both.only_b],
        both=len(both.both),
        announced_recorded=found.load_a.announced,
        announced_would=found.load_b.announced,
        most_in_ten_minutes_recorded=found.load_a.most_in_window,
        most_in_ten_minutes_would=found.load_b.most_in_window,
    )


def _occurrence(one: Occurrence) -> OccurrenceTold:
    return OccurrenceTold(one.alarm, one.subject, one.priority, one.start_us, one.end_us)
