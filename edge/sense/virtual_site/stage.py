"""The mains through one second: voltages, half-cycles, and what becomes of the line."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from edge.sense.virtual_site.arcs import HalfCycles, half_cycles
from edge.sense.virtual_site.film import Film
from edge.sense.virtual_site.fixture import Fixture, SiteState
from edge.sense.virtual_site.line import (
    Line,
    Runaway,
    arc_lengths,
    critical_voltage_v,
    flashed,
    no_runaway,
    put_back,
    run_on,
    voltage_shares,
)
from edge.sense.virtual_site.mains import basis, orders_of
from edge.sense.virtual_site.surface import Surface

Floats = npt.NDArray[np.float64]

CONDUCTANCE_LEAST_S = 1e-12
"""A drier film counts as this: keeps resistances finite."""


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """The mains through one second and its overlap.

    waves, volts: shape (rows, samples). shares: voltage of each phase against normal, None while
    the line is sound; live: of each half-cycle at its crest. arc_cm: length of an arc in each
    half-cycle; rest_ohm: film in series with it.
    """

    times_s: Floats
    step_rad: float
    waves: Floats
    volts: Floats
    shares: Floats | None
    cycles: HalfCycles
    live: Floats
    line: Line
    runaway: Runaway
    arc_cm: Floats
    rest_ohm: Floats


def stage_of(
    fixture: Fixture, state: SiteState, surface: Surface, film: Film, rng: np.random.Generator
) -> Stage:
    now, rate = float(state.second), fixture.rate_hz
    angle, angle_end = fixture.mains.angle(now), fixture.mains.angle(now + 1.0)
    step_rad = (angle_end - angle) / rate
    cycles = half_cycles(angle - fixture.lags, angle_end - fixture.lags, rate)
    rest_ohm = 1.0 / np.maximum(film.banded_s, CONDUCTANCE_LEAST_S)
    line, runaway, arc_cm = _spread(fixture, state, surface, rest_ohm, cycles, rng)
    samples = rate + fixture.overlap
    times = now + np.arange(samples) / rate
    waves = basis(angle, step_rad, samples, orders_of(fixture.plan))
    volts = fixture.volt_weights @ waves
    shares = None if line.untouched(now + 1.1) else voltage_shares(line, fixture.plan, times)
    if shares is not None:
        volts *= shares
    return Stage(
        times_s=times,
        step_rad=step_rad,
        waves=waves,
        volts=volts,
        shares=shares,
        cycles=cycles,
        live=_live(fixture, cycles, shares),
        line=line,
        runaway=runaway,
        arc_cm=arc_cm,
        rest_ohm=rest_ohm,
    )


def _spread(
    fixture: Fixture,
    state: SiteState,
    surface: Surface,
    rest_ohm: Floats,
    cycles: HalfCycles,
    rng: np.random.Generator,
) -> tuple[Line, Runaway, Floats]:
    """The line, the arcs that run away, and the arc length in each half-cycle."""
    now, most = float(state.second), cycles.place.shape[1]
    line = put_back(state.line, now)
    body = fixture.body
    crest_v = np.full(rest_ohm.shape, body.crest_v if line.untouched(now) else 0.0)
    critical_v = critical_voltage_v(fixture.reignition_v, rest_ohm, body.creepage_cm)
    runaway = run_on(
        state.runaway, surface.band_cm, crest_v, critical_v, state.heating.arcing_share, rng
    )
    arc_cm = arc_lengths(runaway, surface.band_cm, most)
    if not line.untouched(now):
        return line, no_runaway(rest_ohm.shape[0]), arc_cm
    zero_s = now + cycles.place / fixture.rate_hz
    line = flashed(line, fixture.plan, body.creepage_cm, arc_cm, zero_s, rng)
    grown = runaway.arc_cm * np.exp(most / runaway.slowness)
    return line, replace(runaway, arc_cm=grown), arc_cm


def _live(fixture: Fixture, cycles: HalfCycles, shares: Floats | None) -> Floats:
    """Voltage of each half-cycle at its crest, against normal; shape (insulators, most)."""
    if shares is None:
        return np.ones(cycles.place.shape)
    quarter = 0.25 * fixture.rate_hz / fixture.plan.nominal_hz
    at = np.minimum((cycles.place + quarter).astype(np.int64), shares.shape[1] - 1)
    return np.asarray(shares[fixture.phase_rows[:, None], at])
