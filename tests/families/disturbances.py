"""Harmless families with something sudden: spikes, radio, switching, lightning, inrush."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np

from tests.families.harmless import dry_current, film, no_film, sensor_for, wet, with_current
from tests.families.labelled import Bools, Floats
from tests.families.mains import Mains
from tests.families.scene import Stage, Take
from tests.families.sensor import Sensor, make_sensor
from tests.families.surface import capacitive, chosen, ringing, spikes, uniform

SPIKE_SEEN = 6.0
"""A half-cycle counts as spiky where a spike stands this many noise deviations out behind the
sensor's low-pass; a smaller one is noise to anybody."""


def spike_train(
    stage: Stage, mains: Mains, half: Bools, crest_ma: tuple[float, float], tail_s: float
) -> tuple[Floats, np.ndarray, Floats]:
    """One to four spikes within 35 degrees of the crest in each half-cycle drawn.

    Returns the wave, the half-cycle of each spike and its crest behind a first-order low-pass of
    1 kHz, about crest * tail / (tail + 0.16 ms).
    """
    rng = stage.rng
    where = np.repeat(np.flatnonzero(half), rng.integers(1, 5, int(half.sum())))
    crest = np.exp(rng.uniform(np.log(crest_ma[0]), np.log(crest_ma[1]), len(where)))
    tails = tail_s * rng.uniform(0.6, 1.5, len(where))
    angle = pi / 2 + rng.uniform(-1, 1, len(where)) * (35 / 180 * pi)
    wave = spikes(mains, where, angle, crest, tails)
    return wave, where, crest * tails / (tails + 0.16e-3)


def spiky_halfcycles(mains: Mains, sensor: Sensor, where: np.ndarray, seen_ma: Floats) -> Bools:
    """Half-cycles with a spike that can be seen."""
    mark = np.zeros(len(mains.boundaries) - 1, dtype=bool)
    mark[where[seen_ma > SPIKE_SEEN * sensor.sigma_ma]] = True
    return mark


def corona_spikes(stage: Stage) -> Take:
    """Corona on a dry or beaded surface: spikes of up to 8 mA and 20 to 60 us near the crest.

    More often in one polarity, as corona is (common practice).
    """
    rng, mains = stage.rng, stage.supply(0.04)
    dry = dry_current(stage, 0.05, 1.0)
    often = np.where(mains.signs < 0, rng.uniform(0.1, 0.9), rng.uniform(0.0, 0.4))
    half = rng.random(len(often)) < often
    wave, where, seen = spike_train(stage, mains, half, (0.5, 8.0), uniform(rng, 20e-6, 60e-6))
    sensor = make_sensor(rng, 25.0)
    mark = spiky_halfcycles(mains, sensor, where, seen)
    quiet = capacitive(mains, dry) + wave
    return Take(mains, quiet, no_film(mains), dry, (sensor,), spiky=mark)


def droplet_spikes(stage: Stage) -> Take:
    """Discharges between drops over a film of up to 2 mA: 50 to 150 us, 1 to 8 mA."""
    rng, mains = stage.rng, stage.supply(0.04)
    dry = dry_current(stage)
    base, crest = film(stage, mains, 0.5, 2.0)
    half = chosen(rng, mains, uniform(rng, 0.02, 0.6))
    wave, where, seen = spike_train(stage, mains, half, (1.0, 8.0), uniform(rng, 50e-6, 150e-6))
    sensor = make_sensor(rng, 25.0)
    mark = spiky_halfcycles(mains, sensor, where, seen)
    quiet = base + capacitive(mains, dry) + wave
    return Take(mains, quiet, crest, dry, (sensor,), spiky=mark)


def radio_noise(stage: Stage) -> Take:
    """Bursts of a transmitter rectified somewhere: wide-band and tonal, 5 to 500 ms, at any phase.

    Radio and other noise is misread as activity in the field (facts 1.9).
    """
    rng = stage.rng
    take = wet(stage, stage.supply(), 0.4, 10.0)
    mains = take.mains
    time_s, loud = mains.seconds, np.zeros(len(mains.voltage))
    for begin in rng.uniform(0, stage.seconds, max(int(stage.seconds * 0.7), 1)):
        length = uniform(rng, 5e-3, 0.5)
        first = np.searchsorted(time_s, begin)
        end = np.searchsorted(time_s, begin + length)
        tone = np.sin(2 * pi * rng.uniform(700, 6_000) * time_s[first:end])
        hiss = rng.standard_normal(int(end - first))
        loud[first:end] += uniform(rng, 0.1, 2.0) * (tone + 1.5 * hiss)
    return with_current(stage, take, loud)


def _moments(stage: Stage, mean_gap_s: float) -> Floats:
    """Random times, at least one, none within the last 50 ms."""
    count = max(int(stage.rng.poisson(stage.seconds / mean_gap_s)), 1)
    return stage.rng.uniform(0.0, max(stage.seconds - 0.05, 0.01), count)


def switching(stage: Stage) -> Take:
    """Capacitor or line switching: rings of 250 to 2000 Hz, 2 to 40 mA, gone within 30 ms."""
    rng = stage.rng
    take = wet(stage, stage.supply(), 0.4, 15.0)
    at_s = _moments(stage, 1.5)
    crest = np.exp(rng.uniform(np.log(2.0), np.log(40.0), len(at_s)))
    pitch = np.exp(rng.uniform(np.log(250.0), np.log(2_000.0), len(at_s)))
    decay = rng.uniform(1e-3, 6e-3, len(at_s))
    extra = ringing(take.mains, at_s, crest * rng.choice([-1.0, 1.0], len(at_s)), pitch, decay)
    return replace(with_current(stage, take, extra), sensors=(sensor_for(rng, 40.0),))


def lightning(stage: Stage) -> Take:
    """Induced impulses of 20 to 200 mA, 50 to 200 us, strokes 30 to 80 ms apart; they may clip."""
    rng = stage.rng
    take = wet(stage, stage.supply(), 0.4, 15.0)
    first = _moments(stage, 4.0)
    times = [
        start + np.cumsum(np.r_[0.0, rng.uniform(0.03, 0.08, rng.integers(0, 5))])
        for start in first
    ]
    at_s = np.concatenate(times)
    at_s = at_s[at_s < stage.seconds - 0.01]
    crest = np.exp(rng.uniform(np.log(20.0), np.log(200.0), len(at_s)))
    sign = rng.choice([-1.0, 1.0], len(at_s))
    decay = rng.uniform(50e-6, 200e-6, len(at_s))
    extra = ringing(take.mains, at_s, crest * sign, np.full(len(at_s), 100.0), decay)
    sensor = make_sensor(rng, float(rng.choice([50.0, 250.0])))
    return replace(with_current(stage, take, extra), sensors=(sensor,))


def inrush(stage: Stage) -> Take:
    """A transformer switched in near by: a second harmonic and an offset that die in 0.2 to 2 s."""
    rng = stage.rng
    take = wet(stage, stage.supply(), 0.5, 15.0)
    mains, crest = take.mains, float(np.median(take.film_peak_ma))
    extra = np.zeros(len(mains.voltage))
    doubled = mains.turn * mains.turn
    for begin in _moments(stage, 6.0):
        since = mains.seconds - begin
        fade = np.where(since > 0, np.exp(-np.maximum(since, 0) / uniform(rng, 0.07, 0.7)), 0.0)
        turn = np.exp(1j * rng.uniform(-pi, pi))
        share = rng.uniform(0.05, 0.25) * crest
        extra += fade * (share * (doubled * turn).imag + rng.choice([-1, 1]) * share)
    return with_current(stage, take, extra)
