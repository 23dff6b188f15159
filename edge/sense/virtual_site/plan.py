"""What a virtual site is made of: its climate, its line and its insulators.

A plan is fixed; the seed decides what happens. Defaults are design choices unless a comment names
another standing; README.md beside this file lists them all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

PHASES = ("A", "B", "C")
"""Phase sequence: B lags A by 120 degrees, C by 240."""

CODE_BITS = range(10, 17)
"""Bits that a plan's converter may have; the samples are int16 whatever their number."""


class SurfaceKind(StrEnum):
    """What the insulator's surface is made of."""

    COMPOSITE = "composite"  # silicone rubber housing
    COATED = "coated"  # ceramic under a silicone coating
    CERAMIC = "ceramic"  # glazed porcelain or glass, always hydrophilic


@dataclass(frozen=True, slots=True, kw_only=True)
class InsulatorPlan:
    """One insulator, its place, its sensor.

    creepage_cm: leakage path. form_factor: integral of dl/perimeter along it. exposure: share of
    the site's salt wind that reaches it. salt_mg_cm2: deposit when the simulation begins (as NaCl).
    hydrophobicity: 1 separate drops, 0 a continuous film; hydrophobicity_most: what it regains.
    soak_h, recovery_h: time constants of loss while wet and of recovery while dry.
    own_pf, neighbour_pf: capacitance to its own conductor and to the two other phases (in order of
    sequence). full_scale_ma: peak current at the converter's end code; fine_full_scale_ma: a second
    channel of the same sensor. reignition_v: Claverie's constant in V, cm, A (940 as recalled;
    lower is an insulator that flashes over sooner).
    """

    name: str
    kind: SurfaceKind
    phase: str
    creepage_cm: float
    form_factor: float
    exposure: float
    salt_mg_cm2: float
    hydrophobicity: float
    hydrophobicity_most: float
    soak_h: float = 8.0
    recovery_h: float = 12.0
    own_pf: float = 25.0
    neighbour_pf: tuple[float, float] = (3.0, 1.5)
    full_scale_ma: float = 250.0
    fine_full_scale_ma: float | None = None
    reignition_v: float = 940.0

    def __post_init__(self) -> None:
        if self.phase not in PHASES:
            raise ValueError(f"{self.name}: phase is {self.phase!r}; it must be one of {PHASES}")
        if not 0.0 <= self.hydrophobicity <= 1.0 or not 0.0 <= self.hydrophobicity_most <= 1.0:
            raise ValueError(f"{self.name}: hydrophobicity must lie between 0 and 1")
        if min(self.creepage_cm, self.form_factor, self.full_scale_ma) <= 0.0:
            raise ValueError(f"{self.name}: creepage, form factor and full scale must be positive")

    @property
    def area_m2(self) -> float:
        """Surface area [m2] of the even tube that has this creepage and form factor."""
        return (self.creepage_cm / 100.0) ** 2 / self.form_factor


@dataclass(frozen=True, slots=True, kw_only=True)
class ClimatePlan:
    """How rough the coast is. coast_faces_deg: bearing of the open sea seen from the site.

    windiness, fogginess, raininess: multiply what the night's script says. air_c: at dusk.
    """

    coast_faces_deg: float
    air_c: float = 14.0
    windiness: float = 1.0
    fogginess: float = 1.0
    raininess: float = 1.0
    night_minutes: int = 90


@dataclass(frozen=True, slots=True, kw_only=True)
class SitePlan:
    """A site: one three-phase line with its insulators and a weather station.

    voltage_kv: r.m.s., phase to earth. harmonics: (order, share of the fundamental, phase [rad] as
    sines) of the conductor voltage. frequency_wander_hz: spread of the slow drift about nominal.
    sensor_lowpass_hz: first-order corner of the current sensors. noise_ua: r.m.s., white.
    reclose_s: seconds after a trip at which the line is put back; None: stays off.
    """

    name: str
    monitor: str
    climate: ClimatePlan
    insulators: tuple[InsulatorPlan, ...]
    voltage_kv: float
    nominal_hz: float = 50.0
    frequency_wander_hz: float = 0.03
    harmonics: tuple[tuple[int, float, float], ...] = (
        (3, 0.008, 0.4),
        (5, 0.022, 2.9),
        (7, 0.009, 1.1),
        (11, 0.004, 0.2),
    )
    voltage_full_scale_kv: float = 40.0
    voltage_noise_v: float = 15.0
    sensor_lowpass_hz: float = 1_500.0
    noise_ua: float = 8.0
    converter_bits: int = 16
    trip_delay_s: tuple[float, float] = (0.06, 0.14)
    reclose_s: float | None = None

    def __post_init__(self) -> None:
        names = [insulator.name for insulator in self.insulators]
        if not names or len(set(names)) != len(names):
            raise ValueError(f"{self.name}: a site needs insulators with distinct names")
        if self.converter_bits not in CODE_BITS:
            raise ValueError(
                f"{self.name}: converter_bits is {self.converter_bits}; it must lie between "
                f"{CODE_BITS.start} and {CODE_BITS.stop - 1}"
            )

    @property
    def crest_v(self) -> float:
        """Crest of the fundamental of the conductor voltage, phase to earth [V]."""
        return self.voltage_kv * 1_000.0 * math.sqrt(2.0)

    @property
    def code_most(self) -> int:
        """The converter's positive end code."""
        return (1 << (self.converter_bits - 1)) - 1
