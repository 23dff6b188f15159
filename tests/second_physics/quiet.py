"""Harmless families: films, dry surfaces, what stands beside them, and what breaks in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.families.labelled import Floats, Surface
from tests.second_physics.film import Climate, living, steady, wandering
from tests.second_physics.pulses import Keying, Surge, corona
from tests.second_physics.stage import Stage, Take, take_of
from tests.second_physics.supply import (
    Supply,
    cycle_of,
    energised,
    interharmonic,
    ramped,
    shares_of,
)

ARRESTER_HIDES_MA = 0.5
"""A film smaller than this cannot be told from the arrester beside it."""


def filmed(stage: Stage, supply: Supply, crest_ma: float) -> Floats:
    """A steady film that wanders by some per cent [mA]."""
    wander = wandering(stage.rng, supply, stage.uniform(0.0, 0.15))
    return steady(supply, crest_ma, wander).current_ma(supply)


def wet_sine(stage: Stage) -> Take:
    """0.3 to 40 mA of film current."""
    supply, crest = stage.supply(), stage.spread(0.3, 40.0)
    return take_of(stage, supply, stage.chain(1.2 * crest), filmed(stage, supply, crest))


def wet_under_distortion(stage: Stage) -> Take:
    """The same at up to 8 % of supply distortion."""
    supply, crest = stage.supply(0.04, 0.08), stage.spread(0.3, 40.0)
    return take_of(stage, supply, stage.chain(1.3 * crest), filmed(stage, supply, crest))


def flicker_and_tones(stage: Stage) -> Take:
    """Interharmonics and flicker of a bad supply."""
    plain = stage.supply(0.02, 0.05)
    more = interharmonic(stage.rng, plain, stage.uniform(0.003, 0.015))
    swing = np.sin(2 * np.pi * stage.uniform(3.0, 12.0) * plain.lanes.edges_s)
    level = plain.level * (1 + stage.uniform(0.01, 0.04) * swing)
    supply = energised(plain.lanes, plain.crest_kv, plain.cycle, level)
    supply = replace(supply, voltage=supply.voltage + more)
    crest = stage.spread(0.3, 20.0)
    take = take_of(stage, supply, stage.chain(1.3 * crest), filmed(stage, supply, crest))
    return replace(take, more_kv=more)


def injected_third(stage: Stage) -> Take:
    """A third harmonic of up to 15 %, in the voltage or injected into the current."""
    share, crest = stage.uniform(0.05, 0.15), stage.spread(0.4, 20.0)
    supply = stage.supply(third=share if stage.chance(0.5) else 0.0)
    take = take_of(stage, supply, stage.chain(1.4 * crest), filmed(stage, supply, crest))
    third = cycle_of(stage.rng, {3: share}) - cycle_of(stage.rng, {})
    lanes = supply.lanes.signs[:, None] * third[:648] * crest
    return replace(take, beside_ma=lanes * ramped(supply.level))


def arrester_ma(stage: Stage, supply: Supply, crest_ma: float) -> Floats:
    """Current of an arrester [mA]: a power of the voltage, softer when aged or hot."""
    power = stage.uniform(4.0, 20.0)
    relative = supply.voltage / supply.crest_kv
    return np.asarray(crest_ma * np.sign(relative) * np.abs(relative) ** power)


def surge_arrester(stage: Stage) -> Take:
    """An arrester's peaky current beside a film or a dry surface."""
    supply, peak = stage.supply(0.01, 0.05), stage.spread(0.2, 6.0)
    crest = stage.spread(0.3, 15.0) if stage.chance(0.6) else 0.02
    take = take_of(stage, supply, stage.chain(1.3 * (crest + peak)), filmed(stage, supply, crest))
    take = replace(take, beside_ma=arrester_ma(stage, supply, peak))
    if crest < ARRESTER_HIDES_MA:  # a resistive current, but whose?
        take.surface[:] = Surface.UNSCORED
    return take


def dry_coupled(stage: Stage) -> Take:
    """Capacitive current of 0.05 to 2 mA, neighbours coupled at 120 degrees."""
    supply, rms = stage.supply(0.01, 0.06), stage.spread(0.05, 2.0)
    strays = stage.strays(supply, rms) * np.array([1.0, 1.6, 1.6])
    crest = stage.uniform(0.0, 0.02)
    return take_of(stage, supply, stage.chain(2.2 * rms), filmed(stage, supply, crest), strays)


def direct_current(stage: Stage) -> Take:
    """Up to 2 mA of direct current, wandering, through a film."""
    supply, crest = stage.supply(), stage.spread(0.4, 15.0)
    direct = stage.uniform(0.3, 2.0) * stage.rng.choice((-1.0, 1.0))
    take = take_of(stage, supply, stage.chain(crest + 2.5), filmed(stage, supply, crest))
    wander = direct * wandering(stage.rng, supply, 0.2)
    return replace(take, beside_ma=ramped(wander))


def film_drying(stage: Stage) -> Take:
    """Elements heat, dry, part without an arc and are wetted again."""
    supply, crest = stage.supply(), stage.spread(0.8, 25.0)
    climate = Climate(
        stage.spread(0.1, 1.0),
        stage.spread(0.1, 0.8),
        stage.spread(0.05, 0.4),
        stage.uniform(0.2, 0.7),
        int(stage.rng.integers(1, 4)),
        int(stage.rng.integers(2, 6)),
    )
    film = living(stage.rng, supply, crest, climate).current_ma(supply)
    return take_of(stage, supply, stage.chain(2.0 * crest), film)


def small_in_noise(stage: Stage) -> Take:
    """A small current in 5 to 50 uA of noise."""
    supply, crest = stage.supply(), stage.uniform(0.0, 0.8)
    chain = stage.chain(1.0, 5.0)
    noise = stage.spread(0.005, 0.05)
    chain = replace(chain, noise_ma=noise, flicker_ma=noise * stage.uniform(0.2, 1.0))
    return take_of(stage, supply, chain, filmed(stage, supply, crest))


def droplets(stage: Stage) -> Take:
    """Corona of drops on a beaded surface, to 8 mA as the sensor gives it."""
    return _with_corona(stage, stage.uniform(0.0, 0.1))


def corona_on_film(stage: Stage) -> Take:
    """The same beside a film."""
    return _with_corona(stage, stage.spread(0.3, 10.0))


def _with_corona(stage: Stage, crest_ma: float) -> Take:
    supply, seen = stage.supply(), stage.spread(0.6, 8.0)
    decay_s = stage.spread(2e-5, 1.5e-4)
    chain = stage.chain(crest_ma + 1.3 * seen)
    peak = min(seen * (1 + 1 / (2 * np.pi * chain.corner_hz * decay_s)), 80.0)
    few = stage.uniform(0.1, 1.2 if decay_s > 8e-5 else 3.0)
    active = wandering(stage.rng, supply, 1.0)[:-1] > stage.uniform(0.5, 1.1)
    pulses = corona(stage.rng, supply, active, peak, (few, 2 * few), decay_s)
    take = take_of(stage, supply, chain, filmed(stage, supply, crest_ma))
    return replace(take, pulses=pulses)


def moments(stage: Stage, mean_s: float) -> Floats:
    """Times by chance, at least one [s]."""
    number = 1 + stage.rng.poisson(stage.seconds / mean_s)
    return np.sort(stage.rng.uniform(0.0, stage.seconds, number))


def radio_bursts(stage: Stage) -> Take:
    """A transmitter keyed nearby."""
    supply, crest = stage.supply(), stage.uniform(0.05, 5.0)
    peak = stage.spread(0.03, 1.5)
    keyings = tuple(
        Keying(at, at + stage.spread(0.03, 0.8), peak, stage.uniform(30.0, stage.rate_hz / 2))
        for at in moments(stage, 1.0).tolist()
    )
    take = take_of(stage, supply, stage.chain(crest + peak), filmed(stage, supply, crest))
    return replace(take, keyings=keyings)


def switching(stage: Stage) -> Take:
    """Ringing of the network after switching, in current and voltage."""
    supply, crest = stage.supply(), stage.spread(0.05, 15.0)
    surges = tuple(
        Surge(
            at,
            stage.spread(1.0, 60.0) * float(stage.rng.choice((-1, 1))),
            stage.spread(250.0, 6000.0),
            stage.spread(5e-4, 8e-3),
            stage.uniform(0.05, 0.6) * supply.crest_kv,
        )
        for at in moments(stage, 2.0).tolist()
    )
    take = take_of(stage, supply, stage.chain(crest, 25.0), filmed(stage, supply, crest))
    return replace(take, surges=surges)


def lightning(stage: Stage) -> Take:
    """Impulses, some in groups, many beyond the range."""
    supply, crest = stage.supply(), stage.spread(0.05, 15.0)
    surges = tuple(
        Surge(at + gap, peak, 0.0, stage.spread(3e-5, 6e-4), 0.02 * peak)
        for at in moments(stage, 4.0).tolist()
        for gap in np.cumsum(stage.rng.exponential(0.05, stage.rng.integers(1, 5))).tolist()
        for peak in [stage.spread(2.0, 400.0) * float(stage.rng.choice((-1, -1, 1)))]
    )
    take = take_of(stage, supply, stage.chain(crest, 25.0, 250.0), filmed(stage, supply, crest))
    return replace(take, surges=surges)


def inrush(stage: Stage) -> Take:
    """A transformer is switched in: the voltage sags and carries even harmonics for a second."""
    plain = stage.supply()
    level, more = plain.level.copy(), np.zeros_like(plain.voltage)
    even = cycle_of(stage.rng, {2: 0.1, 3: 0.05, 4: 0.05}) - cycle_of(stage.rng, {})
    signs = (plain.lanes.signs < 0).astype(np.int64)
    for at in moments(stage, 6.0).tolist():
        age = np.maximum(plain.lanes.edges_s - at, 0.0)
        decay = np.where(plain.lanes.edges_s > at, np.exp(-age / stage.uniform(0.2, 0.8)), 0.0)
        level *= 1 - stage.uniform(0.03, 0.12) * decay
        more += plain.crest_kv * ramped(decay) * even.reshape(2, -1)[signs]
    supply = energised(plain.lanes, plain.crest_kv, plain.cycle, level)
    supply = replace(supply, voltage=supply.voltage + more)
    crest = stage.spread(0.1, 15.0)
    take = take_of(stage, supply, stage.chain(1.5 * crest), filmed(stage, supply, crest))
    return replace(take, more_kv=more)


def earth_fault(stage: Stage) -> Take:
    """An earth fault elsewhere raises this healthy phase to up to 1.73 of its voltage."""
    plain = stage.supply()
    edges = plain.lanes.edges_s
    first, last = stage.uniform(0.15, 0.4) * stage.seconds, stage.uniform(0.6, 0.9) * stage.seconds
    raised = (edges > first) & (edges < last)
    level = np.where(raised, stage.uniform(1.4, 1.73), plain.level)
    shares = shares_of(stage.rng, stage.uniform(0.005, 0.03))
    supply = energised(plain.lanes, plain.crest_kv, cycle_of(stage.rng, shares), level)
    crest = stage.spread(0.02, 15.0)
    take = take_of(stage, supply, stage.chain(2.2 * crest), filmed(stage, supply, crest))
    surface = np.where(raised[:-1] & raised[1:], Surface.ABNORMAL_WET, Surface.WET)
    for at in (first, last):
        lane = supply.lanes.at(at)
        surface[max(lane - 2, 0) : lane + 3] = Surface.UNSCORED
    ringing = tuple(Surge(at, 2.0, 800.0, 2e-3, 0.3 * plain.crest_kv) for at in (first, last))
    return replace(take, surface=surface.astype(np.int8), surges=ringing)
