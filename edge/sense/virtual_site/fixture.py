"""What one night of a virtual site rests on, and the state that each second hands to the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.sense.virtual_site.arc_law import ArcCurve, ArcLaw, arc_curve
from edge.sense.virtual_site.arcs import Habit, habit_of
from edge.sense.virtual_site.film import Film, film_of
from edge.sense.virtual_site.line import Line, Runaway, no_runaway
from edge.sense.virtual_site.mains import (
    Mains,
    capacitive_weights,
    lag_rad,
    mains_of,
    voltage_weights,
)
from edge.sense.virtual_site.plan import PHASES, SitePlan
from edge.sense.virtual_site.surface import (
    Body,
    Heating,
    Surface,
    body_of,
    surface_at_dusk,
)
from edge.sense.virtual_site.waveform import filter_memory, overlap_samples

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Dice:
    """Three streams of chance, so that the story hardly depends on the sampling rate."""

    story: np.random.Generator
    corona: np.random.Generator
    noise: np.random.Generator


def dice_of(seed: int) -> Dice:
    """The dice of one seed."""
    return Dice(*(np.random.default_rng([seed, 0xD1CE, stream]) for stream in range(3)))


@dataclass(frozen=True, slots=True, eq=False)
class Fixture:
    """What stays the same all night, worked out once from plan, rate and seed."""

    plan: SitePlan
    rate_hz: int
    mains: Mains
    body: Body
    curve: ArcCurve
    reignition_v: Floats
    full_scale_a: Floats
    volt_weights: Floats
    capacitive_weights: Floats
    phase_rows: npt.NDArray[np.int64]
    lags: Floats
    gains: Floats
    overlap: int
    memory: int


@dataclass(frozen=True, slots=True, eq=False)
class SiteState:
    """What one second hands to the next.

    tail_a: current due to discharges and spikes that reach into the next second; history_a: what
    the sensors still remember of the last; both shape (insulators, samples).
    """

    second: int
    surface: Surface
    film: Film
    habit: Habit
    line: Line
    runaway: Runaway
    heating: Heating
    tail_a: Floats
    history_a: Floats


def fixture_of(plan: SitePlan, rate_hz: int, rng: np.random.Generator, law: ArcLaw) -> Fixture:
    """Works out what the night needs."""
    units = plan.insulators
    full_a = [1e-3 * unit.full_scale_ma for unit in units]
    fine_a = [1e-3 * u.fine_full_scale_ma for u in units if u.fine_full_scale_ma is not None]
    full_v = [1e3 * plan.voltage_full_scale_kv] * len(PHASES)
    return Fixture(
        plan=plan,
        rate_hz=rate_hz,
        mains=mains_of(plan, rng),
        body=body_of(plan),
        curve=arc_curve(law),
        reignition_v=np.array([unit.reignition_v for unit in units]),
        full_scale_a=np.array(full_a),
        volt_weights=voltage_weights(plan),
        capacitive_weights=capacitive_weights(plan),
        phase_rows=np.array([PHASES.index(unit.phase) for unit in units], dtype=np.int64),
        lags=np.array([lag_rad(unit.phase) for unit in units]),
        gains=plan.code_most / np.array(full_a + fine_a + full_v),
        overlap=overlap_samples(rate_hz, plan.nominal_hz),
        memory=filter_memory(plan.sensor_lowpass_hz, rate_hz),
    )


def state_at_dusk(fixture: Fixture, rng: np.random.Generator) -> SiteState:
    """Dry surfaces, a sound line, sensors at rest."""
    count = len(fixture.plan.insulators)
    surface = surface_at_dusk(fixture.plan)
    none = np.zeros(count)
    return SiteState(
        second=0,
        surface=surface,
        film=film_of(fixture.body, surface, fixture.plan.climate.air_c),
        habit=habit_of(fixture.plan, rng),
        line=Line(),
        runaway=no_runaway(count),
        heating=Heating(none, none, none),
        tail_a=np.zeros((count, fixture.overlap)),
        history_a=np.zeros((count, fixture.memory)),
    )
