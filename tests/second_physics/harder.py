"""Arcing families up to flashover, beyond the sensor's range, and amid other things."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.families.labelled import Floats, Surface
from tests.second_physics.bands import Style, arcs_of, crests, visits
from tests.second_physics.burning import arcing_take, plain_band
from tests.second_physics.column import QUENCHED
from tests.second_physics.pulses import corona, streamers
from tests.second_physics.quiet import arrester_ma, filmed
from tests.second_physics.spoilt import gap_spans, surface_in
from tests.second_physics.stage import Arcs, Stage, Take, take_of
from tests.second_physics.supply import STEPS, Supply, energised, ramped

POWER_ARC_MA = 4e5
SAGGED = 0.25
"""Voltage left at the pole while the power arc burns, relative (a design choice)."""


def to_flashover(stage: Stage) -> Take:
    """Arcs grow from 20 to 900 mA, streamers come, the line flashes over, trips, may come back."""
    return _flashover(stage, 1000.0)


def to_flashover_clipped(stage: Stage) -> Take:
    """The same on a sensor that ends at 250 mA."""
    return _flashover(stage, 250.0)


def _flashover(stage: Stage, range_ma: float) -> Take:
    plain = stage.supply()
    lanes, total = plain.lanes, stage.seconds
    flash = lanes.at(stage.uniform(0.55, 0.8) * total)
    trip = flash + 2 * int(stage.rng.integers(2, 6))
    level = plain.level.copy()
    level[flash + 1 : trip] = SAGGED
    again = lanes.at(lanes.edges_s[trip] + stage.uniform(0.4, 1.5))
    back = again if stage.chance(0.5) and again < len(lanes) - 4 else len(lanes)
    level[trip : back + 1] = 0.0
    supply = energised(lanes, plain.crest_kv, plain.cycle, level)
    count = len(lanes)
    grown = np.clip((lanes.edges_s[:-1] - 0.1 * total) / (lanes.edges_s[flash] - 0.1 * total), 0, 1)
    crest = 20.0 * 45.0**grown * crests(stage, count, 1.0, 0.1)
    present = visits(stage, count, 0.6, 0.6) | (grown > 0.6)
    present &= np.arange(count) < flash
    style = Style(exponent=(0.3, 0.8), drop=(0.05, 0.3), tau_s=(1e-4, 6e-4), strength=(0.35, 0.6))
    film = filmed(stage, supply, stage.uniform(1.0, 8.0))
    film[back:] *= stage.uniform(0.0, 0.3)  # the power arc has dried the surface
    arcs = _with_power_arc(supply, arcs_of(stage, supply, present, crest, style), flash, trip)
    take = take_of(stage, supply, stage.chain(range_ma, range_ma), film)
    power = np.zeros(count, dtype=bool)
    power[flash:trip] = True
    near = present & (grown > 0.8)
    sparks = streamers(stage.rng, supply, near, first_strike(arcs, count), 30.0)
    take = replace(take, arcs=arcs, power_arc=power, pulses=sparks)
    dead = (float(lanes.edges_s[trip]), float(lanes.edges_s[min(back, count)]))
    take = surface_in(take, dead, Surface.DEAD_LINE)
    take.surface[flash - 2 : trip + 3] = Surface.UNSCORED
    return take


def first_strike(arcs: Arcs, count: int) -> Floats:
    """Place of the first conduction of each lane, 0 to 1; 0.5 where none."""
    place = np.full(count, 0.5)
    size = np.abs(arcs.column)
    begun = size > QUENCHED * np.maximum(size.max(1, keepdims=True), 1e-9)
    place[arcs.lanes] = np.where(begun.any(1), begun.argmax(1) / STEPS, 0.5)
    return place


def _with_power_arc(supply: Supply, arcs: Arcs, flash: int, trip: int) -> Arcs:
    """Adds the power arc: what the network delivers, far beyond any range."""
    lanes = np.arange(flash, trip)
    phase = np.pi * np.arange(STEPS) / STEPS
    current = POWER_ARC_MA * supply.lanes.signs[lanes, None] * np.sin(phase)
    return Arcs(
        np.concatenate((arcs.lanes, lanes)),
        np.concatenate((arcs.path, current)),
        np.concatenate((arcs.column, current)),
    )


def _ranged(stage: Stage, low_ma: float, high_ma: float, *ranges_ma: float) -> Take:
    supply = stage.supply()
    count = len(supply.lanes)
    present = visits(stage, count, 0.4, 0.6)
    size = crests(stage, count, stage.spread(low_ma, high_ma), 0.3)
    chain = stage.chain(ranges_ma[-1], *ranges_ma)
    beside = stage.uniform(0.3, 2.0)
    return arcing_take(stage, supply, present, size, Style(), beside, chain=chain)


def clipped_fine(stage: Stage) -> Take:
    """Arcs beyond the 5 mA of the only range."""
    return _ranged(stage, 5.0, 30.0, 5.0)


def clipped_coarse(stage: Stage) -> Take:
    """Arcs about and beyond 250 mA."""
    return _ranged(stage, 150.0, 600.0, 250.0)


def two_ranges(stage: Stage) -> Take:
    """Arcs across the end of the fine range."""
    return _ranged(stage, 3.0, 120.0, 5.0, 250.0)


def beside_arrester(stage: Stage) -> Take:
    """An arrester draws its peaks all the while."""
    take = plain_band(stage)
    peak = stage.spread(0.2, 3.0)
    return replace(take, beside_ma=arrester_ma(stage, take.supply, peak))


def amid_corona(stage: Stage) -> Take:
    """Corona of drops in arcing half-cycles and others."""
    take = plain_band(stage)
    every = np.ones(len(take.supply.lanes), dtype=bool)
    decay_s = stage.spread(2e-5, 1e-4)
    peak = stage.spread(0.8, 4.0) * (1 + 1 / (2 * np.pi * take.chain.corner_hz * decay_s))
    few = stage.uniform(0.05, 0.5)
    pulses = corona(stage.rng, take.supply, every, peak, (few, 2 * few), decay_s)
    return replace(take, pulses=pulses)


def with_direct_current(stage: Stage) -> Take:
    """Direct current beside the arcs."""
    take = plain_band(stage)
    direct = stage.uniform(0.3, 2.0) * float(stage.rng.choice((-1.0, 1.0)))
    return replace(take, beside_ma=ramped(np.full(len(take.supply.lanes) + 1, direct)))


def reversed_arcs(stage: Stage) -> Take:
    """Arcs with the leads exchanged."""
    take = plain_band(stage)
    return replace(take, chain=replace(take.chain, turned=True))


def with_gaps(stage: Stage) -> Take:
    """Arcs in a record with gaps."""
    return replace(plain_band(stage), gaps_s=gap_spans(stage))
