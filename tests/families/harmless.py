"""Harmless families: wet, dry, distorted, in parallel with other things; no arc anywhere.

Ranges are those of the requirement for each case; what lies within them is drawn, as likely in each
decade where a range spans more than one. Magnitudes of wet and dry currents: facts 1.12 to 1.14.
"""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np

from tests.families.labelled import Floats, Surface
from tests.families.mains import Harmonic, Mains, harmonic_sum, turned
from tests.families.scene import Stage, Take
from tests.families.sensor import Sensor, make_sensor
from tests.families.surface import (
    arrester,
    at_middles,
    capacitive,
    neighboured,
    on_inner,
    uniform,
    wandering,
)

FULL_SCALES_MA = (5.0, 25.0, 50.0, 250.0, 1_000.0)


def sensor_for(rng: np.random.Generator, crest_ma: float, droop: bool = True) -> Sensor:
    """A sensor whose end lies at least half as far again as the crest to be expected."""
    fitting = [scale for scale in FULL_SCALES_MA if scale >= 1.5 * crest_ma]
    return make_sensor(rng, fitting[0], droop=droop)


def dry_current(stage: Stage, low_ma: float = 0.05, high_ma: float = 0.5) -> complex:
    """Complex crest of a capacitive current with mildly coupled neighbours."""
    return neighboured(stage.rng, uniform(stage.rng, low_ma, high_ma), 0.25)


def film(
    stage: Stage, mains: Mains, low_ma: float, high_ma: float, unrest: float = 0.1
) -> tuple[Floats, Floats]:
    """Film current [mA] and its crest per half-cycle: conductance times voltage, drifting."""
    crest = uniform(stage.rng, low_ma, high_ma)
    memory_s = uniform(stage.rng, 0.5, 10.0)
    conductance = wandering(stage.rng, mains, crest, stage.rng.uniform(0.01, unrest), memory_s)
    return conductance * mains.voltage, at_middles(mains, conductance)


def wet(
    stage: Stage, mains: Mains, low_ma: float = 0.4, high_ma: float = 30.0, unrest: float = 0.1
) -> Take:
    """A wet surface seen through a fitting sensor; the start of most families here."""
    dry = dry_current(stage)
    wave, crest = film(stage, mains, low_ma, high_ma, unrest)
    quiet = wave + capacitive(mains, dry)
    sensor = sensor_for(stage.rng, float(np.max(np.abs(quiet))))
    return Take(mains, quiet, crest, dry, (sensor,), calibrated=bool(stage.rng.random() < 0.5))


def no_film(mains: Mains) -> Floats:
    """Crest of the film current where there is none."""
    return np.zeros(len(mains.boundaries) - 1)


def with_current(stage: Stage, take: Take, extra_ma: Floats, droop: bool = True) -> Take:
    """The same take with another harmless current added and a sensor that fits the sum."""
    quiet = take.quiet_ma + extra_ma
    sensor = sensor_for(stage.rng, float(np.quantile(np.abs(quiet[::7]), 0.999)), droop)
    return Take(
        take.mains,
        quiet,
        take.film_peak_ma,
        take.dry_ma,
        (sensor,),
        surface=take.surface,
        reference=take.reference,
        calibrated=take.calibrated,
    )


def wet_sinusoid(stage: Stage) -> Take:
    """A film of 0.3 to 40 mA under a clean supply: large and harmless."""
    return wet(stage, stage.supply(0.02), 0.3, 40.0)


def wet_distorted(stage: Stage) -> Take:
    """The same under a supply of 4 to 8 % distortion."""
    return wet(stage, stage.supply(0.08), 0.3, 40.0)


def dry_capacitive(stage: Stage) -> Take:
    """Capacitive current of 0.05 to 2 mA, neighbours coupled, distortion amplified by order."""
    mains = stage.supply(0.05)
    dry = neighboured(stage.rng, uniform(stage.rng, 0.05, 2.0), 0.5)
    quiet = capacitive(mains, dry)
    sensor = sensor_for(stage.rng, float(np.max(np.abs(quiet))))
    return Take(
        mains, quiet, no_film(mains), dry, (sensor,), calibrated=bool(stage.rng.random() < 0.5)
    )


def third_harmonic(stage: Stage) -> Take:
    """Up to 15 % of third, of any phase: on the supply, or fed in beside the insulator."""
    rng, third = stage.rng, Harmonic(3, stage.rng.uniform(0.03, 0.15), stage.rng.uniform(-pi, pi))
    mains = stage.supply(0.02)
    if rng.random() < 0.5:
        distorted = mains.voltage + harmonic_sum(mains.turn, (third,))
        return wet(stage, _with_voltage(mains, distorted, third))
    take = wet(stage, mains)
    crest = float(np.median(take.film_peak_ma))
    return with_current(stage, take, crest * harmonic_sum(mains.turn, (third,)))


def _with_voltage(mains: Mains, voltage: Floats, third: Harmonic) -> Mains:
    others = tuple(h for h in mains.harmonics if h.order != third.order)
    return replace(mains, voltage=voltage, harmonics=(*others, third))


def surge_arrester(stage: Stage) -> Take:
    """A zinc-oxide arrester's peaky current in parallel, over a dry or a wet surface."""
    mains = stage.supply(0.04)
    rng = stage.rng
    peaky = arrester(mains, uniform(rng, 0.2, 5.0), rng.uniform(4.0, 20.0))
    take = wet(stage, mains, 0.4, 10.0)
    unsure = np.full(len(take.film_peak_ma), Surface.WET, dtype=np.int8)
    return with_current(stage, _on_surface(take, unsure), peaky)


def _on_surface(take: Take, surface: np.ndarray) -> Take:
    return replace(take, surface=surface)


def direct_current(stage: Stage) -> Take:
    """A direct current of up to 2 mA of either sign, drifting; the sensor passes it."""
    rng = stage.rng
    take = wet(stage, stage.supply(), 0.4, 10.0)
    level = rng.choice([-1.0, 1.0]) * uniform(rng, 0.05, 2.0)
    drift = wandering(rng, take.mains, 1.0, 0.2, 5.0)
    return with_current(stage, take, np.clip(level * drift, -2.0, 2.0), droop=False)


def film_heating(stage: Stage) -> Take:
    """A film whose conductance breathes at twice the mains frequency by heating: 2 to 12 %.

    Gives a third harmonic of its own, smooth and without ignition.
    """
    rng = stage.rng
    take = wet(stage, stage.supply(), 1.0, 30.0)
    mains, depth, lag = take.mains, rng.uniform(0.02, 0.12), rng.uniform(0, pi)
    doubled = mains.turn * mains.turn * np.exp(1j * lag)
    crest = float(np.median(take.film_peak_ma))
    return with_current(stage, take, crest * depth * doubled.real * mains.voltage)


def film_changing(stage: Stage) -> Take:
    """Rain on or drying off: the crest runs over a decade within seconds."""
    rng, mains = stage.rng, stage.supply()
    dry, knots = dry_current(stage), max(int(stage.seconds) + 2, 3)
    crests = np.repeat(np.exp(rng.uniform(np.log(0.5), np.log(40.0), knots)), 2)
    coarse = np.linspace(0, len(crests) - 1, int((stage.seconds + 2) / 0.02))
    conductance = on_inner(mains, np.exp(np.interp(coarse, np.arange(len(crests)), np.log(crests))))
    quiet = conductance * mains.voltage + capacitive(mains, dry)
    sensor = sensor_for(rng, 45.0)
    return Take(mains, quiet, at_middles(mains, conductance), dry, (sensor,))


def earth_fault(stage: Stage) -> Take:
    """A healthy phase while another is earthed: voltage up to 1.73-fold and turned by up to 30."""
    rng, mains = stage.rng, stage.supply()
    share = rng.uniform(0.3, 1.0)
    raised = 1 + share * (np.sqrt(3) * np.exp(1j * rng.choice([-1, 1]) * pi / 6) - 1)
    begin, end = np.sort(rng.uniform(0.2, 0.8, 2)) * stage.seconds + np.array([0.0, 0.5])
    time_s = mains.seconds
    within = np.clip((time_s - begin) / 2e-3, 0, 1) - np.clip((time_s - end) / 2e-3, 0, 1)
    take = wet(stage, turned(mains, 1 + within * (raised - 1)), 0.4, 15.0)
    middle_s = (mains.boundaries[:-1] + mains.boundaries[1:]) / (2 * mains.rate_hz)
    surface = np.full(len(middle_s), Surface.WET, dtype=np.int8)
    surface[(middle_s > begin) & (middle_s < end)] = Surface.ABNORMAL_WET
    edges = np.minimum(np.abs(middle_s - begin), np.abs(middle_s - end)) < 0.03
    surface[edges] = Surface.UNSCORED
    return _on_surface(take, surface)


def small_in_noise(stage: Stage) -> Take:
    """0.05 mA of capacitive current under 50 uA of noise: nothing to be told, and nothing told."""
    mains = stage.supply(0.03)
    dry = neighboured(stage.rng, uniform(stage.rng, 0.05, 0.1), 0.3)
    sensor = make_sensor(stage.rng, 5.0, noise_ua=(40.0, 50.0))
    return Take(mains, capacitive(mains, dry), no_film(mains), dry, (sensor,))
