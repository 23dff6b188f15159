"""Families in which the sensor, the reference or the record misbehaves; no arc anywhere."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np

from tests.families.harmless import dry_current, no_film, sensor_for, wet
from tests.families.labelled import Floats, Marks, Surface
from tests.families.mains import Mains, distortion, harmonic_sum, turned
from tests.families.scene import Stage, Take
from tests.families.sensor import make_sensor
from tests.families.surface import capacitive, uniform


def distorted_reference(stage: Stage) -> Take:
    """A voltage transformer in saturation: 5 to 20 % distortion or flat tops on the reference only.

    The current stays that of a wet film under a clean voltage.
    """
    rng = stage.rng
    take = wet(stage, stage.supply(), 0.4, 30.0)
    mains = take.mains
    if rng.random() < 0.5:
        reference = np.clip(mains.voltage, -rng.uniform(0.7, 0.9), rng.uniform(0.7, 0.9))
    else:
        bent = distortion(rng, rng.uniform(0.05, 0.2), (3, 5, 7))
        reference = mains.voltage + harmonic_sum(mains.turn, bent)
    return replace(take, reference=reference)


def from_moment(
    mains: Mains, before: Floats, after: Floats, at_s: float, states: tuple[Surface, Surface]
) -> tuple[Floats, Marks]:
    """One current until a moment and another from it on; the half-cycles about it unscored."""
    wave = np.where(mains.seconds < at_s, before, after)
    middle_s = (mains.boundaries[:-1] + mains.boundaries[1:]) / (2 * mains.rate_hz)
    surface = np.where(middle_s < at_s, states[0], states[1]).astype(np.int8)
    surface[np.abs(middle_s - at_s) < 0.03] = Surface.UNSCORED
    return wave, surface


def _onset_s(stage: Stage) -> float:
    """From the first sample in half of the recordings, somewhere within in the others."""
    return -1.0 if stage.rng.random() < 0.5 else float(stage.rng.uniform(0.2, 0.8)) * stage.seconds


def dead_sensor(stage: Stage) -> Take:
    """The channel stands at one number with a little noise while the line lives."""
    take = wet(stage, stage.supply(), 0.4, 15.0)
    stuck = np.full(len(take.quiet_ma), stage.rng.uniform(-0.05, 0.05))
    states = (Surface.WET, Surface.DEAD_SENSOR)
    quiet, surface = from_moment(take.mains, take.quiet_ma, stuck, _onset_s(stage), states)
    sensor = replace(take.sensors[0], noise_ua=5.0)
    return replace(take, quiet_ma=quiet, surface=surface, sensors=(sensor,))


def lead_off(stage: Stage) -> Take:
    """The collector's lead is open: 2 to 15 uA of hum of any phase is picked up."""
    rng, mains = stage.rng, stage.supply()
    dry = dry_current(stage, 0.1, 0.5)
    hum = uniform(rng, 2e-3, 15e-3) * (mains.turn * np.exp(1j * rng.uniform(-pi, pi))).imag
    states = (Surface.DRY, Surface.OPEN_LEAD)
    quiet, surface = from_moment(mains, capacitive(mains, dry), hum, _onset_s(stage), states)
    sensor = make_sensor(rng, 5.0, noise_ua=(5.0, 20.0))
    return Take(mains, quiet, no_film(mains), dry, (sensor,), surface=surface)


def bypassed_collector(stage: Stage) -> Take:
    """Dirt leads 30 % of the dry current past the collector; found in dry hours, not here."""
    mains = stage.supply()
    dry = dry_current(stage, 0.1, 1.0)
    sensor = replace(make_sensor(stage.rng, 5.0), gain=0.7)
    return Take(mains, capacitive(mains, dry), no_film(mains), dry, (sensor,))


def reversed_polarity(stage: Stage) -> Take:
    """The lead is connected the wrong way round: a film that seems to deliver power."""
    take = wet(stage, stage.supply(0.05), 0.4, 30.0)
    sensor = replace(take.sensors[0], sign=-1)
    surface = np.full(len(take.film_peak_ma), Surface.ABNORMAL_WET, dtype=np.int8)
    return replace(take, sensors=(sensor,), surface=surface)


def lost_samples(stage: Stage) -> Take:
    """Single samples and runs of up to 100 are marked absent, some each second."""
    rng = stage.rng
    take = wet(stage, stage.supply(), 0.4, 30.0)
    missing = np.zeros(take.mains.count, dtype=bool)
    for first in rng.integers(0, len(missing), max(int(stage.seconds * 1.5), 2)):
        missing[first : first + int(uniform(rng, 1, 100))] = True
    return replace(take, missing=missing)


def gap_rows(stage: Stage, count: int) -> tuple[tuple[int, int], ...]:
    """Two to six gaps of 1 ms to 1 s, in order, apart from one another."""
    rng = stage.rng
    many = int(rng.integers(2, 7))
    slots = np.linspace(0.05, 0.95, many + 1)[:-1] * count
    room = 0.8 * 0.9 * count / many
    lengths = [min(uniform(rng, 1e-3, 1.0) * stage.rate_hz, room) for _ in slots]
    return tuple(
        (int(slot), int(slot + length) + 1) for slot, length in zip(slots, lengths, strict=True)
    )


def gaps(stage: Stage) -> Take:
    """The counter jumps: samples were lost between blocks."""
    take = wet(stage, stage.supply(0.05), 0.4, 30.0)
    return replace(take, gaps=gap_rows(stage, take.mains.count))


def de_energised(stage: Stage) -> Take:
    """The line is switched off, and in half of the recordings on again; no arc before or after."""
    rng, mains = stage.rng, stage.supply()
    off, on = float(rng.uniform(0.1, 0.4)) * stage.seconds, float(rng.uniform(0.6, 0.9))
    on = on * stage.seconds if rng.random() < 0.5 else 2 * stage.seconds
    time_s = mains.seconds
    live = 1 - np.clip((time_s - off) / 1e-3, 0, 1) + np.clip((time_s - on) / 1e-3, 0, 1)
    take = wet(stage, turned(mains, live.astype(np.complex128)), 0.5, 15.0)
    middle_s = (mains.boundaries[:-1] + mains.boundaries[1:]) / (2 * mains.rate_hz)
    surface = np.full(len(middle_s), Surface.WET, dtype=np.int8)
    surface[(middle_s > off) & (middle_s < on)] = Surface.DEAD_LINE
    surface[np.minimum(np.abs(middle_s - off), np.abs(middle_s - on)) < 0.03] = Surface.UNSCORED
    return replace(take, surface=surface)


def wet_clipped(stage: Stage) -> Take:
    """A film of 6 to 40 mA on a range that ends at 5 mA: flat tops, harmless."""
    take = wet(stage, stage.supply(), 6.0, 40.0)
    return replace(take, sensors=(make_sensor(stage.rng, 5.0),))


def coarse_converter(stage: Stage) -> Take:
    """10 bits over 50 mA: steps of 0.1 mA under a film of 0.3 to 2 mA."""
    take = wet(stage, stage.supply(), 0.5, 2.0)
    return replace(take, sensors=(make_sensor(stage.rng, 50.0, bits=(10, 10)),))


def two_ranges_wet(stage: Stage) -> Take:
    """A fine range to 5 mA and a coarse one to 250 mA of the same film, 1 to 40 mA."""
    rng = stage.rng
    take = wet(stage, stage.supply(), 1.0, 40.0)
    coarse = sensor_for(rng, 150.0)
    fine = replace(coarse, full_scale_ma=5.0, noise_ua=min(coarse.noise_ua, 20.0))
    return replace(take, sensors=(fine, coarse))
