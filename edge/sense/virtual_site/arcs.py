"""When arcs burn: ignition, memory, extinction and re-ignition, half-cycle by half-cycle.

A dry band ignites when the voltage across it exceeds its breakdown, which scatters; a band that
burned in the last half-cycle of the same polarity is hot and ignites lower, so arcs come in bursts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.sense.virtual_site.arc_law import ArcLaw, least_current_a, least_voltage_v
from edge.sense.virtual_site.film import Film
from edge.sense.virtual_site.plan import SitePlan

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

BREAKDOWN_V_CM = 6_000.0
"""Crest voltage for each cm of band that ignites it cold (design choice; wet edges halve the field
that an even gap in air would stand)."""
BREAKDOWN_SPREAD = 0.16
"""Spread (log) of the breakdown from half-cycle to half-cycle (design choice)."""
HOT_SHARE = 0.68
"""Breakdown of a band still hot from the half-cycle of the same polarity before (design choice)."""
CALMING = 0.93
RESTLESS = 0.10
"""Memory and spread (log, each second) of a slow factor on the breakdown: water that runs, wind
that gusts; bursts and lulls of some ten seconds (design choice)."""
LAG_RAD = 0.07
"""Mean delay of ignition behind the breakdown voltage (design choice)."""
QUENCH_SPREAD = 0.12
"""An arc dies at the least voltage times 1 + |spread| (design choice)."""
EARLY_QUENCH = 0.06
REIGNITION = 0.08
SECOND_PATH = 0.22
"""Shares of arcing half-cycles that die early; that die and ignite again; that burn on two paths
(design choices)."""
GLOW_MA = 5.0
"""Below about this crest current half of the discharges glow: no step (design choice)."""
GLOW_ANGLES_RAD = (0.4, 1.15)
"""A glow burns above the crest times the sine of an angle within these (design choice): near the
voltage zero there is none."""
BURN_LEAST_RAD = 0.12
"""A discharge shorter than this is not born."""


@dataclass(frozen=True, slots=True, eq=False)
class Habit:
    """What the seed gave each insulator's arcs: shape (insulators,) each.

    shy: factor on the breakdown of the (positive, negative) half-cycles, shape (insulators, 2).
    restless: standing of a slow factor on the breakdown (log). hot: burned in the last half-cycle
    of (positive, negative) polarity, shape (insulators, 2).
    """

    shy: Floats
    restless: Floats
    hot: Bools


@dataclass(frozen=True, slots=True, eq=False)
class HalfCycles:
    """The half-cycles that begin in one second, shape (insulators, most) each.

    real: the entry exists. place: samples from the second's first sample to the zero of the phase
    voltage (a fraction). positive: polarity of the voltage.
    """

    real: Bools
    place: Floats
    positive: Bools


@dataclass(frozen=True, slots=True, eq=False)
class Discharges:
    """Arcs and glows, one entry each. row, column: insulator and half-cycle. begins, ends: angles
    after the voltage zero [rad]; pause, resumes: a gap between them. rest_ohm: film in series.
    least_a, least_v: of the arc law. glow_v: burning voltage of a glow; 0 for an arc."""

    row: Ints
    column: Ints
    begins: Floats
    ends: Floats
    pause: Floats
    resumes: Floats
    rest_ohm: Floats
    least_a: Floats
    least_v: Floats
    glow_v: Floats


def habit_of(plan: SitePlan, rng: np.random.Generator) -> Habit:
    """Draws each insulator's habit; about one in three prefers one polarity."""
    count = len(plan.insulators)
    shy = np.ones((count, 2))
    partial = rng.uniform(size=count) < 0.35
    side = rng.integers(0, 2, count)
    shy[np.arange(count), side] += np.where(partial, rng.uniform(0.15, 0.6, count), 0.0)
    return Habit(shy, np.zeros(count), np.zeros((count, 2), dtype=bool))


def half_cycles(angle: Floats, angle_end: Floats, samples: int) -> HalfCycles:
    """The half-cycles whose zero lies in [angle, angle_end), shape (insulators,) [rad]."""
    first = np.ceil(angle / math.pi)
    most = int(np.max(np.ceil(angle_end / math.pi) - first))
    numbers = first[:, None] + np.arange(most)
    zeros = numbers * math.pi
    return HalfCycles(
        real=zeros < angle_end[:, None],
        place=(zeros - angle[:, None]) * (samples / (angle_end - angle))[:, None],
        positive=numbers % 2 == 0,
    )


def burn(
    law: ArcLaw,
    cycles: HalfCycles,
    film: Film,
    band_cm: Floats,
    arc_cm: Floats,
    rest_ohm: Floats,
    crest_v: Floats,
    habit: Habit,
    rng: np.random.Generator,
) -> tuple[Discharges, Habit]:
    """Which half-cycles burn, and how.

    band_cm: shape (insulators,). arc_cm, rest_ohm, crest_v: shape (insulators, most).
    """
    shape = cycles.place.shape
    side = np.where(cycles.positive, 0, 1)
    scatter = np.exp(BREAKDOWN_SPREAD * rng.standard_normal(shape) + habit.restless[:, None])
    cold_v = (
        BREAKDOWN_V_CM * band_cm[:, None] * np.take_along_axis(habit.shy, side, axis=1) * scatter
    )
    across_v = film.band_share[:, None] * crest_v
    able = cycles.real & (crest_v > least_voltage_v(law, arc_cm, rest_ohm))
    able &= (film.dry_share > 0.5)[:, None]
    cold, warm = able & (cold_v < across_v), able & (HOT_SHARE * cold_v < across_v)
    was_hot, hot = _remember(cold, warm, habit.hot, cycles)
    burns = able & (np.where(was_hot, HOT_SHARE, 1.0) * cold_v < across_v)
    needed = np.where(was_hot, HOT_SHARE, 1.0) * cold_v / np.maximum(across_v, 1.0)
    row, column = np.nonzero(burns)
    chosen = (row, column)
    discharges = _shape(
        law, row, column, needed[chosen], arc_cm[chosen], rest_ohm[chosen], crest_v[chosen], rng
    )
    restless = CALMING * habit.restless + RESTLESS * rng.standard_normal(shape[0])
    return discharges, Habit(habit.shy, restless, hot)


def _remember(cold: Bools, warm: Bools, hot: Bools, cycles: HalfCycles) -> tuple[Bools, Bools]:
    """Whether each half-cycle found its band hot, and the heat left at the end by polarity.

    `cold` burns whatever came before, not `warm` never burns, between the two the half-cycle of
    the same polarity before decides: the last decisive one is carried along.
    """
    was_hot = np.zeros_like(cold)
    left = hot.copy()
    everyone = np.arange(cold.shape[0])
    for offset in (0, 1):
        part = slice(offset, None, 2)
        sure, burns, real = (cold | ~warm)[:, part], cold[:, part], cycles.real[:, part]
        if not burns.shape[1]:
            continue
        side = np.where(cycles.positive[:, offset], 0, 1)
        sure = sure & real
        steps = np.where(sure, np.arange(1, sure.shape[1] + 1), 0)
        last = np.maximum.accumulate(steps, axis=1)
        known = np.concatenate([hot[everyone, side][:, None], burns], axis=1)
        now = np.take_along_axis(known, last, axis=1)
        was_hot[:, part] = np.concatenate([known[:, :1], now[:, :-1]], axis=1)
        left[everyone, side] = now[:, -1]
    return was_hot, left


def _shape(
    law: ArcLaw,
    row: Ints,
    column: Ints,
    needed: Floats,
    arc_cm: Floats,
    rest_ohm: Floats,
    crest_v: Floats,
    rng: np.random.Generator,
) -> Discharges:
    """Times and constants of the discharges in the half-cycles that burn, second paths added."""
    count = row.shape[0]
    second = np.flatnonzero(rng.uniform(size=count) < SECOND_PATH)
    pick = np.concatenate([np.arange(count), second])
    paths = np.concatenate([np.ones(count), rng.uniform(1.5, 5.0, second.shape[0])])
    later = np.concatenate([np.zeros(count), rng.uniform(0.1, 0.7, second.shape[0])])
    ohm, arc, crest = rest_ohm[pick] * paths, arc_cm[pick], crest_v[pick]
    least_v = least_voltage_v(law, arc, ohm)
    size = pick.shape[0]
    begins = np.arcsin(np.minimum(needed[pick], 1.0)) + rng.exponential(LAG_RAD, size) + later
    quench_v = least_v * (1.0 + QUENCH_SPREAD * np.abs(rng.standard_normal(size)))
    ends = math.pi - np.arcsin(np.minimum(quench_v / crest, 1.0))
    early = rng.uniform(size=size) < EARLY_QUENCH
    ends = np.where(early, begins + rng.uniform(0.15, 0.6, size) * (ends - begins), ends)
    glow_v = _glow(crest, ohm, begins, rng)
    again = (rng.uniform(size=size) < REIGNITION) & (glow_v == 0.0)
    pause = begins + rng.uniform(0.2, 0.7, size) * (ends - begins)
    pause = np.where(again, pause, math.pi)
    keep = ends - begins > BURN_LEAST_RAD
    made = Discharges(
        row=row[pick],
        column=column[pick],
        begins=begins,
        ends=ends,
        pause=pause,
        resumes=pause + rng.uniform(0.12, 0.4, size),
        rest_ohm=ohm,
        least_a=least_current_a(law, arc, ohm),
        least_v=least_v,
        glow_v=glow_v,
    )
    return _kept(made, keep)


def _glow(crest_v: Floats, ohm: Floats, begins: Floats, rng: np.random.Generator) -> Floats:
    """Burning voltage of those that glow [V], 0 for arcs: weak currents glow more often."""
    crest_ma = 1e3 * crest_v / ohm
    glows = rng.uniform(size=crest_v.shape[0]) < 0.9 / (1.0 + (crest_ma / GLOW_MA) ** 2)
    return np.where(glows, crest_v * np.sin(np.clip(begins, *GLOW_ANGLES_RAD)), 0.0)


def _kept(made: Discharges, keep: Bools) -> Discharges:
    return Discharges(
        row=made.row[keep],
        column=made.column[keep],
        begins=made.begins[keep],
        ends=made.ends[keep],
        pause=made.pause[keep],
        resumes=made.resumes[keep],
        rest_ohm=made.rest_ohm[keep],
        least_a=made.least_a[keep],
        least_v=made.least_v[keep],
        glow_v=made.glow_v[keep],
    )
