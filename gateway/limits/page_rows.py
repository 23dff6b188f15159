"""What the pages of limits show, row by row: units, limits as they stand, versions."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from edge.decide.binding import Bound, DecisionPlan
from edge.decide.definitions import Alarm, AlarmDefinition
from gateway.limits.contents import DEFAULTS, Content, Difference, differences
from gateway.limits.desk import LimitsDesk
from gateway.limits.drafting import DEFAULT_OWNER
from gateway.limits.faults import Fault
from gateway.limits.in_force import InForce, Known, base_of, content_of
from gateway.limits.versions import Status, UnitLimits, Version

ROWS_MAX = 300
"""More units are not listed; the page says how many, and shows one site at a time."""


class Word(StrEnum):
    """How a unit's own word stands to what was approved for it."""

    NOT_ARRIVED = "not-arrived"
    REFUSED = "refused"
    DIFFERS = "differs"
    ON_ITS_WAY = "on-its-way"
    CONFIRMED = "confirmed"
    OWN_FILE = "own-file"  # nothing was ever approved for it


@dataclass(frozen=True, slots=True)
class UnitRow:
    """owners: who answers for limits that are not the program's. sets: (insulators, margin [uA],
    arcing half-cycles a minute). wanted: newest approved version, None where there is none."""

    unit: str
    site: str
    word: Word
    fault: Fault | None
    limits: UnitLimits
    wanted: Version | None
    standing: Version | None
    known: Known
    owners: tuple[str, ...]
    sets: tuple[tuple[tuple[str, ...], int, int], ...]
    proposals: tuple[Version, ...]


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One limit as it stands. first: of its alarm. insulators: for which it holds where they are
    not all alike. default: the program's."""

    definition: AlarmDefinition
    first: bool
    quantity: str
    at: int
    deadband: int
    default: int
    insulators: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class VersionRow:
    """One version beside what stood before it. before: its number, 0 the unit's settings file.
    unknown: nobody here knows what stood before, or what this one says."""

    version: Version
    before: int
    differences: tuple[Difference, ...]
    unknown: bool


def word_of(limits: UnitLimits, fault: Fault | None) -> Word:
    """How the unit's word stands."""
    wanted = limits.of(limits.wanted)
    if wanted is None:
        return Word.OWN_FILE
    if wanted.status is Status.REFUSED:
        return Word.REFUSED
    if limits.in_force != wanted.number:
        return Word.ON_ITS_WAY if fault is None else Word.NOT_ARRIVED
    return Word.CONFIRMED if fault is None else Word.DIFFERS


def unit_row(desk: LimitsDesk, in_force: InForce, unit: str) -> UnitRow:
    """One unit. Raises ChangeRefused where there is none."""
    limits, fault, known = desk.of(unit), desk.fault(unit), in_force.known(unit)
    waiting = [one for one in limits.versions.values() if one.status is Status.PROPOSED]
    return UnitRow(
        unit=unit,
        site=unit.partition(".")[0],
        word=word_of(limits, fault),
        fault=fault,
        limits=limits,
        wanted=limits.of(limits.wanted),
        standing=limits.of(limits.in_force),
        known=known,
        owners=_owners(known.plan),
        sets=_sets(known.plan),
        proposals=tuple(sorted(waiting, key=lambda one: -one.number)),
    )


def unit_rows(desk: LimitsDesk, in_force: InForce, site: str | None) -> list[UnitRow]:
    """All units, or one site's: those with a fault first, then what is on its way or waits."""
    units = desk.units() if site is None else desk.units_of(site)
    rows = [unit_row(desk, in_force, unit) for unit in units]
    return sorted(rows, key=_need)


def _need(row: UnitRow) -> tuple[bool, bool, bool, str]:
    return row.fault is None, row.word is not Word.ON_ITS_WAY, not row.proposals, row.unit


def _bounds(plan: DecisionPlan) -> Iterable[tuple[str, Bound]]:
    for insulator, bounds in plan.insulators.items():
        for one in bounds:
            yield insulator, one
    for one in plan.unit:
        yield "", one


def _owners(plan: DecisionPlan) -> tuple[str, ...]:
    found = {one.definition.owner for _, one in _bounds(plan)}
    return tuple(sorted(found - {DEFAULT_OWNER}))


def _sets(plan: DecisionPlan) -> tuple[tuple[tuple[str, ...], int, int], ...]:
    alike: dict[tuple[int, int], list[str]] = {}
    for insulator, bounds in plan.insulators.items():
        limits = {one.definition.id: one.limits for one in bounds}
        margin_ua = limits[Alarm.NEAR_MARGIN]["arcing_peak_ua"].at
        arcs = limits[Alarm.ARCING]["arcing_halfcycles_per_min"].at
        alike.setdefault((margin_ua, arcs), []).append(insulator)
    return tuple((tuple(names), *key) for key, names in alike.items())


def limit_rows(plan: DecisionPlan) -> list[LimitRow]:
    """Every limit of a plan, in the order of the alarms; insulators that are alike share a row."""
    alike: dict[tuple[Alarm, str, int, int], list[str]] = {}
    definitions: dict[Alarm, AlarmDefinition] = {}
    for insulator, bound in _bounds(plan):
        definitions.setdefault(bound.definition.id, bound.definition)
        for limit in bound.definition.limits:
            key = (bound.definition.id, limit.quantity, limit.at, limit.deadband)
            alike.setdefault(key, []).append(insulator)
    rows: list[LimitRow] = []
    for alarm in DEFAULTS:
        own = [key for key in alike if key[0] is alarm]
        for number, (_, quantity, at, deadband) in enumerate(own):
            several = sum(key[1] == quantity for key in own) > 1
            names = tuple(alike[alarm, quantity, at, deadband]) if several else ()
            default = DEFAULTS[alarm].limit(quantity).at
            definition, first = definitions[alarm], number == 0
            rows.append(LimitRow(definition, first, quantity, at, deadband, default, names))
    return rows


def version_row(desk: LimitsDesk, version: Version) -> VersionRow:
    """A version and what it changes. One that is only proposed is held against what a change would
    start from now, others against the one that was in force before. Raises ChangeRefused."""
    limits = desk.of(version.unit)
    earlier = [
        one.number
        for one in limits.versions.values()
        if one.applied_us and one.number < version.number
    ]
    is_new = version.status is Status.PROPOSED
    before = base_of(limits) if is_new else max(earlier, default=0)
    was, will = content_of(desk, version.unit, before), _content(desk, version)
    found = () if will is None else tuple(differences(was, will))
    return VersionRow(version, before, found, was is None or will is None)


def _content(desk: LimitsDesk, version: Version) -> Content | None:
    return version.alarms if version.alarms is not None else content_of(desk, version.unit, 0)


def version_rows(desk: LimitsDesk, unit: str) -> list[VersionRow]:
    """A unit's versions, the newest first. Raises ChangeRefused."""
    versions = desk.of(unit).versions
    return [version_row(desk, versions[number]) for number in sorted(versions, reverse=True)]
