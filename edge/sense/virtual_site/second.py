"""One second of a virtual site: state and dice in, state, samples and truth out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.sense.virtual_site.arcs import Discharges, Habit, burn
from edge.sense.virtual_site.film import Film, film_of
from edge.sense.virtual_site.fixture import Dice, Fixture, SiteState
from edge.sense.virtual_site.line import FAULT_FULL_SCALES, FLASHED_VOLTAGE
from edge.sense.virtual_site.stage import Stage, stage_of
from edge.sense.virtual_site.surface import Heating, Surface, step_surface
from edge.sense.virtual_site.truth import ARC_LEAST_C, Happened
from edge.sense.virtual_site.waveform import (
    Burned,
    arc_currents,
    codes,
    lowpass,
    spikes,
    white_noise,
)
from edge.sense.virtual_site.weather import Air

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

SPIKES_FROM_RH_PCT = 80.0
"""Droplets spark from here on, fully at 95 % (design choice)."""


@dataclass(frozen=True, slots=True, eq=False)
class Second:
    """Samples of one second, shape (rate, channels), and what really happened in it."""

    counter: int
    codes: npt.NDArray[np.int16]
    happened: Happened


def step_second(
    fixture: Fixture, state: SiteState, air: Air, dice: Dice
) -> tuple[SiteState, Second]:
    """The next second: surfaces first, then what the mains make of them."""
    surface = step_surface(fixture.body, state.surface, air, state.heating, 1.0)
    film = film_of(fixture.body, surface, air.air_c)
    stage = stage_of(fixture, state, surface, film, dice.story)
    made, habit = _burn(fixture, stage, surface, film, state.habit, dice.story)
    burned = arc_currents(
        fixture.curve, made, stage.cycles, stage.volts, fixture.phase_rows, stage.step_rad,
        fixture.rate_hz,
    )  # fmt: skip
    sparks, sparked = _spark(fixture, stage, film, air, dice.corona)
    sudden = burned.current_a + sparks
    sudden[:, : fixture.overlap] += state.tail_a
    current = _steady(fixture, stage, state.film, film) + sudden[:, : fixture.rate_hz]
    _add_fault(fixture, stage, current)
    record = np.concatenate([state.history_a, current], axis=1)
    told = Second(
        counter=state.second * fixture.rate_hz,
        codes=_sensed(fixture, record, stage.volts[:, : fixture.rate_hz], dice.noise),
        happened=Happened(
            counter=state.second * fixture.rate_hz,
            rate_hz=fixture.rate_hz,
            nominal_hz=fixture.plan.nominal_hz,
            cycles=stage.cycles,
            charge_c=burned.charge_c,
            energy_j=burned.energy_j,
            sparked=sparked,
            live=stage.live,
            line=stage.line,
        ),
    )
    after = SiteState(
        second=state.second + 1,
        surface=surface,
        film=film,
        habit=habit,
        line=stage.line,
        runaway=stage.runaway,
        heating=_heating(fixture, film, burned, stage),
        tail_a=sudden[:, fixture.rate_hz :],
        history_a=record[:, fixture.rate_hz :],
    )
    return after, told


def _burn(
    fixture: Fixture,
    stage: Stage,
    surface: Surface,
    film: Film,
    habit: Habit,
    rng: np.random.Generator,
) -> tuple[Discharges, Habit]:
    """Discharges of this second; an arc that has lengthened leaves less film in series."""
    left = np.clip(1.0 - stage.arc_cm / fixture.body.creepage_cm[:, None], 0.05, 1.0)
    crest_v = np.maximum(fixture.body.crest_v * stage.live, 1.0)
    return burn(
        fixture.curve.law, stage.cycles, film, surface.band_cm, stage.arc_cm,
        stage.rest_ohm[:, None] * left, crest_v, habit, rng,
    )  # fmt: skip


def _spark(
    fixture: Fixture, stage: Stage, film: Film, air: Air, rng: np.random.Generator
) -> tuple[Floats, Bools]:
    humid = min(1.0, max(0.0, (air.rh_pct - SPIKES_FROM_RH_PCT) / 15.0))
    return spikes(
        film.beaded * humid, stage.cycles, stage.live, stage.step_rad, stage.volts.shape[1],
        fixture.plan.sensor_lowpass_hz, fixture.rate_hz, rng,
    )  # fmt: skip


def _steady(fixture: Fixture, stage: Stage, before: Film, film: Film) -> Floats:
    """Capacitive and film current [A]; the film goes straight from one second's to the next's."""
    rate = fixture.rate_hz
    current = fixture.capacitive_weights @ stage.waves[:, :rate]
    if stage.shares is not None:
        current *= stage.shares[fixture.phase_rows, :rate]
    ramp = np.arange(rate) / rate
    for row, phase in enumerate(fixture.phase_rows):
        start, end = before.parallel_s[row], film.parallel_s[row]
        if start > 0.0 or end > 0.0:
            current[row] += (start + (end - start) * ramp) * stage.volts[phase, :rate]
    return np.asarray(current)


def _add_fault(fixture: Fixture, stage: Stage, current: Floats) -> None:
    """Adds the fault current between flashover and trip, as much of it as a clamped sensor sees."""
    line, rate = stage.line, fixture.rate_hz
    if line.flashed < 0:
        return
    times = stage.times_s[:rate]
    on = (times >= line.flash_s) & (times < line.trip_s)
    shape = stage.volts[fixture.phase_rows[line.flashed], :rate] / (
        FLASHED_VOLTAGE * fixture.body.crest_v
    )
    current[line.flashed, on] += FAULT_FULL_SCALES * fixture.full_scale_a[line.flashed] * shape[on]


def _heating(fixture: Fixture, film: Film, burned: Burned, stage: Stage) -> Heating:
    """Mean powers of this second [W], for the surfaces' next step."""
    squares = 0.5 * (fixture.body.crest_v * stage.live.mean(axis=1)) ** 2
    arcing = ((burned.charge_c > ARC_LEAST_C) & stage.cycles.real).sum(axis=1)
    return Heating(
        film_w=film.parallel_s * squares,
        arc_w=burned.energy_j.sum(axis=1),
        arcing_share=arcing / stage.cycles.real.sum(axis=1),
    )


def _sensed(
    fixture: Fixture, record: Floats, volts: Floats, rng: np.random.Generator
) -> npt.NDArray[np.int16]:
    """Low-pass, noise and converter; record: history and current [A], volts: [V]."""
    plan = fixture.plan
    current = lowpass(record, fixture.memory, plan.sensor_lowpass_hz, fixture.rate_hz)
    count = current.shape[0]
    hiss = white_noise(count + volts.shape[0], fixture.rate_hz, rng)
    current += (1e-6 * plan.noise_ua) * hiss[:count]
    return codes(plan, current, volts + plan.voltage_noise_v * hiss[count:], fixture.gains)
