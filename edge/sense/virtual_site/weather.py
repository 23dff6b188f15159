"""A seeded night on the coast: a script of phases, told minute by minute.

Every night runs salt wind, lull, fog, thinning fog, drizzle, rain, clearing; when each comes, how
long and how strong it is varies with the seed. All strengths and times are design choices that let
one night tell what a coast may take weeks for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.sense.virtual_site.plan import ClimatePlan

Floats = npt.NDArray[np.float64]

MINUTE_S = 60


@dataclass(frozen=True, slots=True)
class Phase:
    """One phase of the script.

    minutes: of a 90-minute night, before the seed stretches it. off_shore_deg: the wind's angle
    from straight onshore. fog_g_m3: liquid water of the fog. cooling_c: below dusk.
    """

    name: str
    minutes: float
    rh_pct: float
    wind_m_s: float
    off_shore_deg: float
    fog_g_m3: float
    rain_mm_h: float
    cooling_c: float


SCRIPT = (
    Phase("salt wind", 17.0, 68.0, 12.0, 12.0, 0.0, 0.0, 0.0),
    Phase("lull", 8.0, 83.0, 4.0, 35.0, 0.02, 0.0, 1.5),
    Phase("fog", 20.0, 98.2, 1.6, 60.0, 0.30, 0.0, 3.0),
    Phase("thinning fog", 13.0, 92.5, 2.6, 50.0, 0.08, 0.0, 3.5),
    Phase("drizzle", 7.0, 97.0, 4.0, 25.0, 0.15, 0.7, 3.0),
    Phase("rain", 9.0, 97.5, 6.0, 20.0, 0.0, 10.0, 2.5),
    Phase("clearing", 16.0, 62.0, 4.5, 185.0, 0.0, 0.0, 2.0),
)

DURATION_SPREAD = 0.22
"""Each phase's duration is stretched by up to this share either way, then the night refitted."""

RAMP_MINUTES = 2.0
"""Phases flow into each other over about this long."""


@dataclass(frozen=True, slots=True)
class Air:
    """The air at one moment."""

    rh_pct: float
    air_c: float
    wind_m_s: float
    wind_from_deg: float
    onshore_m_s: float
    fog_g_m3: float
    rain_mm_h: float


@dataclass(frozen=True, slots=True, eq=False)
class Night:
    """One night. minutes: shape (minutes + 1, 6): humidity, air, wind, direction off the onshore
    (unwrapped), fog, rain, at each whole minute. starts: minute at which each phase begins."""

    minutes: Floats
    starts: tuple[float, ...]


def night_weather(climate: ClimatePlan, seed: int, night: int) -> Night:
    """The weather of night `night` (0, 1, ...) for a seed."""
    rng = np.random.default_rng([seed, 0x57EA, night])
    edges = _phase_edges(climate, rng)
    at = np.arange(climate.night_minutes + 1, dtype=float)
    levels = np.array([_levels(phase, climate) for phase in SCRIPT]) * _strengths(rng)
    table = np.repeat(levels[-1:] if night else levels[:1], at.shape[0], axis=0)
    for start, before, after in zip(
        edges, [levels[-1 if night else 0], *levels[:-1]], levels, strict=True
    ):
        share = 0.5 * (1.0 + np.tanh((at - start) / (0.5 * RAMP_MINUTES)))
        table += share[:, None] * (after - before)
    table[:, 0] = np.clip(table[:, 0] + _wobble(rng, at.shape[0], 0.5), 20.0, 99.8)
    table[:, 1] = climate.air_c - table[:, 1] + _wobble(rng, at.shape[0], 0.1)
    table[:, 2] *= np.exp(_wobble(rng, at.shape[0], 0.08))
    table[:, 3] += _wobble(rng, at.shape[0], 4.0)
    table[:, 4:] *= np.exp(_wobble(rng, at.shape[0], 0.15))[:, None]
    return Night(table, tuple(edges))


def _levels(phase: Phase, climate: ClimatePlan) -> list[float]:
    return [
        phase.rh_pct,
        phase.cooling_c,
        phase.wind_m_s * climate.windiness,
        phase.off_shore_deg,
        phase.fog_g_m3 * climate.fogginess,
        phase.rain_mm_h * climate.raininess,
    ]


def _strengths(rng: np.random.Generator) -> Floats:
    """Factors on the script for one night: shape (phases, 6)."""
    factors = np.ones((len(SCRIPT), 6))
    factors[:, 0] = 1.0 + 0.006 * rng.uniform(-1.0, 1.0, len(SCRIPT))
    factors[:, 2] = np.exp(0.15 * rng.standard_normal())
    factors[:, 3] = rng.uniform(0.6, 1.4)
    factors[:, 4] = rng.uniform(0.55, 1.45)
    factors[:, 5] = np.exp(0.3 * rng.standard_normal(len(SCRIPT)))
    return factors


def _phase_edges(climate: ClimatePlan, rng: np.random.Generator) -> list[float]:
    """Minute at which each phase begins."""
    stretch = 1.0 + DURATION_SPREAD * rng.uniform(-1.0, 1.0, len(SCRIPT))
    lengths = stretch * np.array([phase.minutes for phase in SCRIPT])
    ends = np.cumsum(lengths) * climate.night_minutes / lengths.sum()
    return [0.0, *ends[:-1].tolist()]


def _wobble(rng: np.random.Generator, count: int, spread: float) -> Floats:
    """A slow random walk pulled back to zero (memory about five minutes)."""
    steps = rng.standard_normal(count)
    walk = np.empty(count)
    level = 0.0
    for index in range(count):
        level = 0.8 * level + 0.6 * steps[index]
        walk[index] = level
    return spread * walk


def air_at(climate: ClimatePlan, night: Night, minute: float) -> Air:
    """The air `minute` minutes into a night, between the whole minutes by straight lines."""
    low = min(int(minute), climate.night_minutes - 1)
    share = minute - low
    row = night.minutes[low] * (1.0 - share) + night.minutes[low + 1] * share
    rh, air_c, wind, off_shore, fog, rain = row.tolist()
    return Air(
        rh_pct=rh,
        air_c=air_c,
        wind_m_s=wind,
        wind_from_deg=(climate.coast_faces_deg + off_shore) % 360.0,
        onshore_m_s=max(0.0, wind * math.cos(math.radians(off_shore))),
        fog_g_m3=fog,
        rain_mm_h=rain,
    )
