"""Limits that are not where they should be: a fault that people see. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.limits.versions import Status, UnitLimits

ARRIVE_US = 10 * 60_000_000
"""An approved version that its unit has not confirmed by then has not arrived, and is told. Long
enough for a unit that is online; one that is away is silent anyway."""


@dataclass(frozen=True, slots=True)
class Fault:
    """since_us: since when it should be otherwise."""

    unit: str
    reason: str
    since_us: int


def fault_of(limits: UnitLimits, records_sha: str, now_us: int) -> Fault | None:
    """What is wrong with a unit's limits now; None where nothing is.

    records_sha: hash of the settings that the unit's newest health record was made with.
    """
    wanted = limits.of(limits.wanted)
    if wanted is None:
        return None
    if wanted.status is Status.REFUSED:
        why = f"the unit refuses version {wanted.number}: {wanted.refused_because}"
        return Fault(limits.unit, why, wanted.approved_us)
    if limits.in_force != wanted.number:
        since_us = max(wanted.approved_us, limits.found_us)
        if now_us - since_us < ARRIVE_US:
            return None
        why = f"version {wanted.number} was approved and the unit has not confirmed it"
        return Fault(limits.unit, why, since_us)
    differs = records_sha and wanted.settings_sha and records_sha != wanted.settings_sha
    if differs and now_us - wanted.applied_us >= ARRIVE_US:
        why = (
            f"the unit decides with settings {records_sha}, and not with those of version "
            f"{wanted.number} ({wanted.settings_sha})"
        )
        return Fault(limits.unit, why, wanted.applied_us)
    return None
