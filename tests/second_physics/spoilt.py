"""Harmless too, but the sensor, the reference or the record misbehaves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.families.labelled import Floats, Surface
from tests.second_physics.quiet import filmed, moments
from tests.second_physics.stage import Span, Stage, Take, take_of
from tests.second_physics.supply import Lanes, by_lane, cycle_of, energised, ramped, shares_of


def _wet(stage: Stage, low_ma: float = 0.3, high_ma: float = 15.0) -> Take:
    supply, crest = stage.supply(), stage.spread(low_ma, high_ma)
    return take_of(stage, supply, stage.chain(1.3 * crest), filmed(stage, supply, crest))


def span_of(stage: Stage) -> Span:
    """A stretch somewhere in the middle half of the recording."""
    first = stage.uniform(0.15, 0.4) * stage.seconds
    return first, first + stage.uniform(0.2, 0.45) * stage.seconds


def surface_in(take: Take, span: Span, inside: Surface, margin: int = 2) -> Take:
    """Another surface in a stretch; not scored about its ends."""
    lanes = take.supply.lanes
    first, last = lanes.at(span[0]), lanes.at(span[1])
    surface = take.surface.copy()
    surface[first : last + 1] = inside
    for lane in (first, last):
        surface[max(lane - margin, 0) : lane + margin + 1] = Surface.UNSCORED
    return replace(take, surface=surface)


def distorted_reference(stage: Stage) -> Take:
    """The voltage transformer distorts: flattened crests and harmonics that are not there."""
    take = _wet(stage, 0.3, 30.0)
    supply = take.supply
    cycle = supply.cycle + cycle_of(stage.rng, shares_of(stage.rng, stage.uniform(0.04, 0.12)))
    cycle -= cycle_of(stage.rng, {})
    flat = stage.uniform(0.8, 1.2)
    false = np.clip(cycle, -flat, flat) * supply.crest_kv
    return replace(take, reference=by_lane(supply.lanes, false) * ramped(supply.level))


def dead_sensor(stage: Stage) -> Take:
    """The channel stands still, from somewhere on or for a stretch."""
    take, span = _wet(stage), span_of(stage)
    if stage.chance(0.4):
        span = (span[0], stage.seconds + 1.0)
    stuck = int(stage.rng.choice((0, 0, 1, -3, 17)))
    return replace(surface_in(take, span, Surface.DEAD_SENSOR), dead_s=span, stuck=stuck)


def lead_off(stage: Stage) -> Take:
    """The collector's lead is off for a stretch; the pick-up is left."""
    take, span = _wet(stage), span_of(stage)
    return replace(surface_in(take, span, Surface.OPEN_LEAD), lead_off_s=span)


def reversed_leads(stage: Stage) -> Take:
    """The leads are exchanged."""
    take = _wet(stage)
    return replace(take, chain=replace(take.chain, turned=True))


def lost_samples(stage: Stage) -> Take:
    """Samples marked absent, singly and in runs."""
    take = _wet(stage)
    spans = tuple((at, at + stage.spread(1e-4, 0.05)) for at in moments(stage, 1.0).tolist())
    return replace(take, losses_s=spans)


def gaps(stage: Stage) -> Take:
    """Stretches that never arrive."""
    return replace(_wet(stage), gaps_s=gap_spans(stage))


def gap_spans(stage: Stage) -> tuple[Span, ...]:
    """Some gaps of milliseconds to seconds, apart from one another."""
    starts = np.linspace(0.1, 0.9, int(stage.rng.integers(2, 5))) * stage.seconds
    longest = 0.1 * stage.seconds
    return tuple(
        (at, at + stage.spread(0.002, longest))
        for at in (starts + stage.rng.uniform(0, 0.02, len(starts)) * stage.seconds).tolist()
    )


def de_energised(stage: Stage) -> Take:
    """The line is switched off and on again."""
    plain, span = stage.supply(), span_of(stage)
    supply = energised(plain.lanes, plain.crest_kv, plain.cycle, dead_level(plain.lanes, span))
    crest = stage.spread(0.05, 15.0)
    take = take_of(stage, supply, stage.chain(1.3 * crest), filmed(stage, supply, crest))
    return surface_in(take, span, Surface.DEAD_LINE)


def dead_level(lanes: Lanes, span: Span) -> Floats:
    """A level of nought within a stretch; switched at zeros of the voltage."""
    return np.where((lanes.edges_s > span[0]) & (lanes.edges_s < span[1]), 0.0, 1.0)


def wet_clipped(stage: Stage) -> Take:
    """A film beyond the fine range, and no other range."""
    supply, crest = stage.supply(), stage.uniform(5.5, 30.0)
    return take_of(stage, supply, stage.chain(5.0, 5.0), filmed(stage, supply, crest))


def wet_in_two_ranges(stage: Stage) -> Take:
    """A film about the end of the fine range, a coarse one beside it."""
    supply, crest = stage.supply(), stage.spread(2.0, 20.0)
    chain = stage.chain(5.0, 5.0, 250.0)
    return take_of(stage, supply, chain, filmed(stage, supply, crest))


def ten_bits(stage: Stage) -> Take:
    """A coarse converter: a step is a good part of the film."""
    supply, crest = stage.supply(), stage.spread(0.8, 30.0)
    chain = replace(stage.chain(crest, 100.0 if crest > 3 else 25.0), bits=10)
    return take_of(stage, supply, chain, filmed(stage, supply, crest))
