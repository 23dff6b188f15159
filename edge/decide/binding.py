"""Definitions bound to the insulators that they watch: the plan that `step` reads.

The limit on the arc current near flashover is an insulator's own. It rests on the highest current
that a polluted insulator carried in its last half-cycles before flashover,
I_max = (SCD / 15.32)^2 A peak with the specific creepage distance SCD in mm/kV (Verma 1978, as
recalled). Whether that SCD is on the voltage between phases or to earth is not settled, and is
worth a factor of three in current. So the basis must be stated with the number, and the formula is
entered with the SCD between phases: the lower current, the earlier alarm.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from edge.decide.definitions import (
    US_PER_S,
    Alarm,
    AlarmDefinition,
    DefinitionFault,
    Subject,
    check_definitions,
    moved_limit,
)
from edge.decide.setpoints import Delays, Limit

VERMA_UM_PER_KV = 15_320
"""15.32 mm/kV: the SCD at which the formula gives 1 A (Verma 1978, as recalled)."""

MARGIN_DIVISOR = 10
"""The alarm comes at one tenth of I_max. Design choice; no fraction was found verified."""

FULL_SCALE_PERCENT_MAX = 80
"""A limit above this share of a sensor's full scale is refused: clipping would hide it."""


class Basis(StrEnum):
    """The voltage that a specific creepage distance is counted on."""

    PHASE_PHASE = "phase-phase"
    PHASE_EARTH = "phase-earth"


@dataclass(frozen=True, slots=True)
class SpecificCreepage:
    """Creepage distance for each kilovolt of the highest voltage [um/kV], on a stated basis."""

    um_per_kv: int
    basis: Basis


@dataclass(frozen=True, slots=True)
class WatchedInsulator:
    """An insulator as the register names it.

    creepage: None where it is not known; then 100 mA alone is the limit near flashover.
    full_scale_ua: highest current that its sensor can tell; None where not known.
    """

    id: str
    creepage: SpecificCreepage | None = None
    full_scale_ua: int | None = None


@dataclass(frozen=True, slots=True)
class Bound:
    """One definition with the limits that hold for one subject."""

    definition: AlarmDefinition
    limits: dict[str, Limit]
    delays: Delays


@dataclass(frozen=True, slots=True)
class DecisionPlan:
    """All that `step` compares with; equal plans decide alike.

    insulators: for each id its bound alarms, in the order of the definitions. unit: those of the
    unit itself. rate_millihz: sampling rate, for counters at the end of a row; None: not known.
    """

    insulators: dict[str, tuple[Bound, ...]]
    unit: tuple[Bound, ...]
    dry_air: Bound
    settings_sha: str
    rate_millihz: int | None

    def counter_at(self, start_counter: int, duration_us: int) -> int:
        """Sample counter `duration_us` after a start; the start itself where no rate is known."""
        if self.rate_millihz is None:
            return start_counter
        return start_counter + (duration_us * self.rate_millihz + 500_000_000) // 1_000_000_000


def highest_current_ua(creepage: SpecificCreepage) -> int:
    """I_max [uA peak], rounded down; see the head of this module for its doubt."""
    squared = creepage.um_per_kv**2 * 1_000_000
    share = 3 if creepage.basis is Basis.PHASE_EARTH else 1
    return squared // (VERMA_UM_PER_KV**2 * share)


def bind(
    definitions: Iterable[AlarmDefinition],
    insulators: Iterable[WatchedInsulator],
    settings_sha: str = "",
    rate_hz: float | None = None,
) -> DecisionPlan:
    """The plan for a unit. Raises DefinitionFault: the installer reads alarm and insulator."""
    checked = check_definitions(definitions)
    bound: dict[str, tuple[Bound, ...]] = {}
    for insulator in insulators:
        if insulator.id in bound:
            raise DefinitionFault(f"insulator {insulator.id}: named twice; each id once is allowed")
        bound[insulator.id] = tuple(
            _bound(definition, insulator)
            for definition in checked
            if definition.subject is not Subject.UNIT
        )
    plain = {definition.id: _bound(definition, None) for definition in checked}
    return DecisionPlan(
        insulators=bound,
        unit=tuple(b for b in plain.values() if b.definition.subject is not Subject.INSULATOR),
        dry_air=plain[Alarm.DRY_AIR_CURRENT],
        settings_sha=settings_sha,
        rate_millihz=None if rate_hz is None else round(rate_hz * 1000),
    )


def _bound(definition: AlarmDefinition, insulator: WatchedInsulator | None) -> Bound:
    own = definition
    if definition.id is Alarm.NEAR_MARGIN and insulator is not None:
        own = replace(definition, limits=(_margin_limit(definition, insulator),))
    return Bound(
        definition=own,
        limits={limit.quantity: limit for limit in own.limits},
        delays=Delays(
            on_us=own.on_delay_s * US_PER_S,
            off_us=own.off_delay_s * US_PER_S,
            lost_after_us=own.lost_after_s * US_PER_S,
        ),
    )


def _margin_limit(definition: AlarmDefinition, insulator: WatchedInsulator) -> Limit:
    limit = definition.limit("arcing_peak_ua")
    if insulator.creepage is not None:
        _check_creepage(insulator.id, insulator.creepage)
        tenth_ua = highest_current_ua(insulator.creepage) // MARGIN_DIVISOR
        limit = moved_limit(limit, min(limit.at, tenth_ua))
    highest_ua = insulator.full_scale_ua
    if highest_ua is not None and limit.at * 100 > highest_ua * FULL_SCALE_PERCENT_MAX:
        raise DefinitionFault(
            f"insulator {insulator.id}, alarm {definition.id.value}: the limit is {limit.at} uA; "
            f"at most {highest_ua * FULL_SCALE_PERCENT_MAX // 100} uA is allowed "
            f"({FULL_SCALE_PERCENT_MAX} % of the sensor's {highest_ua} uA). "
            "Lower the limit or fit a sensor of a larger range"
        )
    return limit


SCD_UM_PER_KV_MIN, SCD_UM_PER_KV_MAX = 5_000, 200_000
"""Outside 5 to 200 mm/kV a specific creepage is taken for a slip of units and refused."""


def _check_creepage(where: str, creepage: SpecificCreepage) -> None:
    if not SCD_UM_PER_KV_MIN <= creepage.um_per_kv <= SCD_UM_PER_KV_MAX:
        raise DefinitionFault(
            f"insulator {where}: specific creepage is {creepage.um_per_kv} um/kV; it must lie "
            f"between {SCD_UM_PER_KV_MIN} and {SCD_UM_PER_KV_MAX}. Check the unit (20 mm/kV is "
            "20000)"
        )
