"""Arcing at its limits: up to flashover and trip, clipped ranges, and arcs amid other trouble."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.families.arcing import burning, drawn, peaks, remembered, step_arcs, usual
from tests.families.arcs import arc_current
from tests.families.disturbances import spike_train, spiky_halfcycles
from tests.families.harmless import dry_current, film
from tests.families.instrument import gap_rows
from tests.families.labelled import Surface
from tests.families.mains import turned
from tests.families.scene import Stage, Take
from tests.families.sensor import make_sensor
from tests.families.surface import arrester, capacitive, chosen, uniform, wandering

FLASHOVER_CYCLES = (2, 6)
"""Mains cycles from flashover until the breaker opens."""


def climbing(stage: Stage, full_scale_ma: float) -> Take:
    """Sustained arcs climbing from 20 to 900 mA, flashover, breaker, nothing.

    The flashover's own half-cycles are nobody's to judge: the voltage collapses and the converter
    stands at its end. After the trip the line is dead.
    """
    rng, mains = stage.rng, stage.supply()
    count = len(mains.boundaries) - 1
    flash = int(count * rng.uniform(0.7, 0.9))
    open_ = min(flash + 2 * int(rng.integers(*FLASHOVER_CYCLES)), count - 1)
    half = drawn(mains, (rng.random(count) < rng.uniform(0.9, 1.0)) & (np.arange(count) < flash))
    climb = np.exp(np.interp(half, [0, flash], np.log([20.0, 900.0])))
    peak = np.minimum(climb * remembered(rng, len(half), 0.1, 0.9), 950.0)
    trip_s = mains.boundaries[open_] / mains.rate_hz
    flash_s = mains.boundaries[flash] / mains.rate_hz
    live = np.clip((trip_s - mains.seconds) / 0.5e-3, 0, 1)
    tripped = turned(mains, live.astype(np.complex128))
    arcs = arc_current(rng, tripped, step_arcs(rng, half, peak, (20e-6, 100e-6)), 0.03)
    dry = dry_current(stage)
    base, crest = film(stage, tripped, 2.0, 8.0)
    shorted = np.where((mains.seconds >= flash_s) & (live > 0), 5_000.0, 0.0) * mains.turn.imag
    index = np.arange(count)
    surface = np.where(index >= open_, Surface.DEAD_LINE, Surface.WET).astype(np.int8)
    surface[flash - 1 : open_ + 3] = Surface.UNSCORED
    beyond = (index >= flash) & (index <= open_)
    sensor = make_sensor(rng, full_scale_ma, bits=(14, 16))
    quiet = base + capacitive(tripped, dry) + shorted
    return Take(
        tripped,
        quiet,
        np.where(index >= open_, 0.0, crest),
        dry,
        (sensor,),
        arcs_ma=arcs,
        surface=surface,
        beyond=beyond,
    )


def to_flashover(stage: Stage) -> Take:
    """The climb on a range of 1 A."""
    return climbing(stage, 1_000.0)


def to_flashover_clipped(stage: Stage) -> Take:
    """The climb on a range that ends at 250 mA."""
    return climbing(stage, 250.0)


def clipped_fine(stage: Stage) -> Take:
    """Arcs of 6 to 60 mA on a range that ends at 5 mA."""
    mains = stage.supply()
    take = burning(stage, mains, usual(stage, mains, (6.0, 60.0)), (0.5, 2.0))
    return replace(take, sensors=(make_sensor(stage.rng, 5.0),))


def clipped_coarse(stage: Stage) -> Take:
    """Arcs of 100 to 700 mA on a range that ends at 250 mA."""
    mains = stage.supply()
    take = burning(stage, mains, usual(stage, mains, (100.0, 700.0)), (2.0, 10.0))
    return replace(take, sensors=(make_sensor(stage.rng, 250.0, bits=(14, 16)),))


def two_ranges(stage: Stage) -> Take:
    """A fine range to 5 mA and a coarse one to 250 mA of the same arcs, 3 to 150 mA."""
    mains = stage.supply()
    take = burning(stage, mains, usual(stage, mains, (3.0, 150.0)), (0.5, 3.0))
    coarse = make_sensor(stage.rng, 250.0, bits=(12, 16))
    fine = replace(coarse, full_scale_ma=5.0, noise_ua=min(coarse.noise_ua, 20.0))
    return replace(take, sensors=(fine, coarse))


def beside_arrester(stage: Stage) -> Take:
    """Arcs of 4 to 30 mA beside a surge arrester's peaky current of 0.2 to 3 mA."""
    rng, mains = stage.rng, stage.supply()
    take = burning(stage, mains, usual(stage, mains, (4.0, 30.0), (0.03, 0.8)))
    peaky = arrester(mains, uniform(rng, 0.2, 3.0), rng.uniform(4.0, 20.0))
    return replace(take, quiet_ma=take.quiet_ma + peaky)


def amid_spikes(stage: Stage) -> Take:
    """Arcs of 3 to 30 mA in some half-cycles, discharges between drops in others."""
    rng, mains = stage.rng, stage.supply()
    arcing = chosen(rng, mains, uniform(rng, 0.03, 0.5))
    half = drawn(mains, arcing)
    plan = step_arcs(rng, half, peaks(rng, len(half), 3.0, 30.0), (20e-6, 200e-6))
    take = burning(stage, mains, plan, (0.5, 2.0))
    spiky = chosen(rng, mains, uniform(rng, 0.05, 0.4)) & ~arcing
    wave, where, seen = spike_train(stage, mains, spiky, (1.0, 8.0), uniform(rng, 30e-6, 100e-6))
    mark = spiky_halfcycles(mains, take.sensors[0], where, seen)
    return replace(take, quiet_ma=take.quiet_ma + wave, spiky=mark)


def with_direct_current(stage: Stage) -> Take:
    """Arcs of 3 to 30 mA over a direct current of up to 2 mA."""
    rng, mains = stage.rng, stage.supply()
    take = burning(stage, mains, usual(stage, mains, (3.0, 30.0), (0.03, 0.8)))
    level = rng.choice([-1.0, 1.0]) * uniform(rng, 0.1, 2.0)
    drift = np.clip(level * wandering(rng, mains, 1.0, 0.2, 5.0), -2.0, 2.0)
    sensor = replace(take.sensors[0], droop_hz=0.0)
    return replace(take, quiet_ma=take.quiet_ma + drift, sensors=(sensor,))


def reversed_arcs(stage: Stage) -> Take:
    """Arcs seen through a lead connected the wrong way round; polarity is that of the samples."""
    mains = stage.supply()
    take = burning(stage, mains, usual(stage, mains, (4.0, 40.0)))
    surface = np.full(len(take.film_peak_ma), Surface.ABNORMAL_WET, dtype=np.int8)
    return replace(take, sensors=(replace(take.sensors[0], sign=-1),), surface=surface)


def with_gaps(stage: Stage) -> Take:
    """Arcs of 4 to 40 mA in a feed whose counter jumps."""
    mains = stage.supply()
    take = burning(stage, mains, usual(stage, mains, (4.0, 40.0)))
    return replace(take, gaps=gap_rows(stage, mains.count))
