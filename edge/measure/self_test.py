"""The dry current as a sensor's permanent self-test, over minute rows.

A dry surface carries a capacitive current only, a property of the insulator and its place. Set
against its calibrated value it moves when the collector is bypassed, a lead opens or a gain or
phase changes; ageing, salt and washing leave it alone. What a film adds is in phase with the
voltage. So the quadrature tells the size whatever the film does, and the in-phase part tells the
phase: less of it than calibrated at any time, since no film conducts backwards; more of it only
where the air is known to be dry. Without weather a phase that errs towards conduction is left to
the other alarms.

Rows of a dead line, an abnormal voltage or a flagged sensor are no evidence: they have words of
their own. A finding is a flag on every later minute row, so that whatever is decided on it can be
decided again from the history; it ends by dry hours that agree again, or with a new calibration.
Which of the faults it is cannot be told apart while a film conducts: a person must look.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from enum import StrEnum
from functools import lru_cache
from typing import Any

from edge.measure.plan import Calibration
from edge.quantities import STATES, Flag, State
from edge.records import IntervalRow, Span

HOUR_MINUTES = 60
"""So many minutes of evidence, on end or not, make one dry hour: a mean."""

HOURS = 12
"""The newest dry hours that are judged; their median must be off, so a fault is found after seven
hours at the latest where it began at once, and one odd morning is no fault."""

OFF_PPM, OFF_END_PPM = 150_000, 100_000
"""A share of the dry current by which it must differ to be found, and within which the finding
ends. A bypass of 30 % is twice that; 15 % across is a phase of 8.6 degrees. Design choice: weather
and neighbours move it by some hundredths."""

UNREFERENCED_OFF_PPM = 200_000
"""Without a voltage the size is not set right for it, and only too small a current can be told."""

SPREAD_FACTOR = 2
"""Or that many times the calibrated spread, where that is more."""

DRY_MA_MIN = 0.005
"""A smaller dry current is no self-test: noise would decide."""

DRY_AIR_PLACE = 2
"""Of the hours in dry air, the lowest but so many must lean to conduction."""

PPM = 1_000_000
MINUTE_US_MIN = 59_000_000
_NO_EVIDENCE = frozenset(
    (
        *(Flag.GAP, Flag.MISSING, Flag.NOT_FINITE, Flag.SATURATED, Flag.SENSOR_FAULT),
        *(Flag.SENSOR_REVERSED, Flag.VOLTAGE_ABNORMAL, Flag.REFERENCE_DOUBTFUL),
        *(Flag.NO_FREQUENCY, Flag.NO_DRY_PHASOR),
    )
)
_DRY, _WET = STATES.index(State.DRY), STATES.index(State.WET)


class Air(StrEnum):
    """What is known of the air beside a row."""

    UNKNOWN = "unknown"  # no weather is measured, or none for long
    DAMP = "damp"  # or not dry for long enough
    DRY = "dry"


@dataclass(frozen=True, slots=True)
class DryHours:
    """Evidence of one kind: the hour at hand as sums of its minutes, and the newest whole hours.

    size: quadrature to the calibrated one [ppm]. lean: in-phase beyond the calibrated one, to the
    size of the dry phasor [ppm].
    """

    minutes: int = 0
    size_sum: int = 0
    lean_sum: int = 0
    sizes: tuple[int, ...] = ()
    leans: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class SelfTest:
    """What is remembered of one sensor.

    calibration: id that the evidence is against. level_mv: voltage to compare at; 0 before any.
    all_dry: minutes of a dry surface; dry_air: in dry air, whatever the surface was called.
    is_off: found to differ from the calibration.
    """

    calibration: str = ""
    level_mv: int = 0
    all_dry: DryHours = field(default_factory=DryHours)
    dry_air: DryHours = field(default_factory=DryHours)
    is_off: bool = False


FRESH = SelfTest()


def step(
    known: SelfTest, row: IntervalRow, calibration: Calibration, nominal_kv: float | None, air: Air
) -> tuple[SelfTest, IntervalRow]:
    """Takes a minute row in as evidence; the row with what is found of its sensor by now.

    calibration: the one that the row names. Rows of other spans, and rows where no dry current is
    known, pass unchanged.
    """
    if row.span is not Span.MINUTE or not _is_known(calibration):
        return known, row
    if known.calibration != row.calibration:
        known = SelfTest(calibration=row.calibration)
    if _is_evidence(row, air):
        known = _taken_in(known, row, calibration, nominal_kv, air)
    if not known.is_off:
        return known, row
    return known, replace(row, flags=tuple(sorted({*row.flags, Flag.DRY_CURRENT_OFF.value})))


def _is_known(calibration: Calibration) -> bool:
    return calibration.dry_deg is not None and (calibration.dry_ma or 0.0) >= DRY_MA_MIN


def _is_evidence(row: IntervalRow, air: Air) -> bool:
    """A whole minute that was dry; in dry air also one that looks wet, for nothing can wet it."""
    calm_us = row.state_us[_DRY] + (row.state_us[_WET] if air is Air.DRY else 0)
    return (
        calm_us == row.duration_us >= MINUTE_US_MIN
        and not row.arcing_halfcycles
        and not row.doubtful_halfcycles
        and row.silent_from_us is None
        and _NO_EVIDENCE.isdisjoint(row.flags)
    )


def _taken_in(
    known: SelfTest,
    row: IntervalRow,
    calibration: Calibration,
    nominal_kv: float | None,
    air: Air,
) -> SelfTest:
    point = _point(known, row, calibration, nominal_kv)
    if point is None:
        return known
    level_mv, size, lean = point
    all_dry, dry_air, hour_over = known.all_dry, known.dry_air, False
    if row.state_us[_DRY] == row.duration_us:
        all_dry = added(all_dry, size, lean)
        hour_over = not all_dry.minutes
    if air is Air.DRY:
        dry_air = added(dry_air, size, lean)
        hour_over = hour_over or not dry_air.minutes
    renewed = SelfTest(known.calibration, level_mv, all_dry, dry_air, known.is_off)
    if not hour_over:
        return renewed
    has_voltage = row.in_phase_na is not None
    return replace(renewed, is_off=is_off(renewed, calibration, has_voltage=has_voltage))


def _point(
    known: SelfTest, row: IntervalRow, calibration: Calibration, nominal_kv: float | None
) -> tuple[int, int, int] | None:
    """(voltage to compare at, size, lean) of a row; None where it cannot be said."""
    in_phase_na, quadrature_na, dry_na = _dry_na(calibration)
    if row.in_phase_na is None or row.quadrature_na is None or not row.voltage_mv:
        if row.h1_na is None:
            return None
        return known.level_mv, row.h1_na * PPM // dry_na, 0
    level_mv = round(nominal_kv * PPM) if nominal_kv else known.level_mv or row.voltage_mv
    size = row.quadrature_na * PPM * level_mv // (row.voltage_mv * quadrature_na)
    lean = (row.in_phase_na * level_mv // row.voltage_mv - in_phase_na) * PPM // dry_na
    return level_mv, size, lean


@lru_cache(maxsize=64)
def _dry_na(calibration: Calibration) -> tuple[int, int, int]:
    """(in phase, quadrature, size) of the calibrated dry phasor [nA]; quadrature never 0."""
    assert calibration.dry_ma is not None and calibration.dry_deg is not None
    angle, dry_na = math.radians(calibration.dry_deg), calibration.dry_ma * PPM
    return round(dry_na * math.cos(angle)), round(dry_na * math.sin(angle)) or 1, round(dry_na)


def added(hours: DryHours, size: int, lean: int) -> DryHours:
    """With one minute more."""
    minutes = hours.minutes + 1
    size_sum, lean_sum = hours.size_sum + size, hours.lean_sum + lean
    if minutes < HOUR_MINUTES:
        return DryHours(minutes, size_sum, lean_sum, hours.sizes, hours.leans)
    sizes = (*hours.sizes, size_sum // minutes)[-HOURS:]
    return DryHours(0, 0, 0, sizes, (*hours.leans, lean_sum // minutes)[-HOURS:])


def is_off(known: SelfTest, calibration: Calibration, *, has_voltage: bool) -> bool:
    """Whether the newest dry hours differ from the calibration; once found, less is enough."""
    begin = OFF_PPM if has_voltage else UNREFERENCED_OFF_PPM
    spread = SPREAD_FACTOR * calibration.dry_spread_ma / (calibration.dry_ma or 1.0)
    off = max(_size_off(known, has_voltage=has_voltage), _phase_off(known) if has_voltage else 0)
    return off > max(OFF_END_PPM if known.is_off else begin, round(spread * PPM))


def _size_off(known: SelfTest, *, has_voltage: bool) -> int:
    offs = [
        abs(middle - PPM) if has_voltage else PPM - middle
        for hours in (known.all_dry, known.dry_air)
        if (middle := _median(hours.sizes)) is not None
    ]
    return max(offs, default=0)


def _phase_off(known: SelfTest) -> int:
    offs = [
        -middle
        for hours in (known.all_dry, known.dry_air)
        if (middle := _median(hours.leans)) is not None
    ]
    if len(known.dry_air.leans) == HOURS:
        offs.append(sorted(known.dry_air.leans)[DRY_AIR_PLACE])
    return max(offs, default=0)


def _median(hours: tuple[int, ...]) -> int | None:
    """The middle of as many hours as are judged; None before there are so many."""
    return sorted(hours)[HOURS // 2] if len(hours) == HOURS else None


def as_plain(state: Mapping[str, SelfTest]) -> dict[str, object]:
    """The state as JSON values, for the durable file."""
    return {name: asdict(known) for name, known in state.items()}


def from_plain(plain: Mapping[str, Any]) -> dict[str, SelfTest]:
    """The state that `as_plain` wrote."""
    return {
        name: SelfTest(
            calibration=known["calibration"],
            level_mv=known["level_mv"],
            all_dry=_hours(known["all_dry"]),
            dry_air=_hours(known["dry_air"]),
            is_off=known["is_off"],
        )
        for name, known in plain.items()
    }


def _hours(plain: Mapping[str, Any]) -> DryHours:
    return DryHours(**{**plain, "sizes": tuple(plain["sizes"]), "leans": tuple(plain["leans"])})
