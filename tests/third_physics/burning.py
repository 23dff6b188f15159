"""Arcing families: dried parts of the column, and what makes their arcs differ.

A band's strength, 5 kV/cm over a wet surface, is a design choice (well under the 30 kV/cm of a
plain gap in dry air, as recalled), and so is its scatter of 4 to 12 %. Still arc: 63 V/cm at 1 A,
exponent 0.5 to 0.76, as recalled (Wilkins; Alston and Zoledziowski). Electrodes together 0.8 kV,
as recalled (Obenaus, 0.84 kV). Inertia of 0.06 to 0.4 ms: design choice, no source found.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.families.labelled import Floats
from tests.third_physics.native import ATTEMPTS, Segment
from tests.third_physics.quiet import gap_spans, pulses_at_crests
from tests.third_physics.scene import NEVER, Frame, Halves, Scene, harmonics_of, plain

STRENGTH_KV_CM = 5.0
A_WILKINS_KV_CM = 1.99
"""63 V/cm at 1 A with exponent 0.5, in kV/cm at 1 mA: 0.063 * 1000**0.5."""


def band_of(frame: Frame, crest_kv: float, rest_us: float, ignites: float) -> Segment:
    """A dried part that ignites at a share of the crest; its own leak is 0.3 to 3 % of the rest."""
    exponent = frame.uniform(0.5, 0.76)
    return Segment(
        length_cm=ignites * crest_kv / STRENGTH_KV_CM,
        full_us=rest_us,
        water=frame.spread(0.003, 0.03) ** (2 / 3),
        strength_kv_cm=STRENGTH_KV_CM,
        field_kv_cm=0.063 * 1000**exponent if exponent < 0.6 else A_WILKINS_KV_CM,
        exponent=exponent,
        tau_s=frame.spread(6e-5, 2e-4),
        drop_kv=frame.uniform(0.6, 1.0),
        residual=frame.uniform(0.2, 0.6),
        recovery_s=frame.spread(1e-3, 6e-3),
    )


def scatter_of(frame: Frame, halves: Halves, spread: float) -> Floats:
    """Factors on the strength; half of the scatter stays for some half-cycles."""
    rng, own = frame.rng, frame.rng.normal(size=(len(halves), ATTEMPTS))
    kept, slow = 0.8, np.empty(len(halves))
    slow[0] = rng.normal()
    for half, push in enumerate(rng.normal(size=len(halves) - 1).tolist()):
        slow[half + 1] = kept * slow[half] + np.sqrt(1 - kept**2) * push
    return np.asarray(np.exp(spread * np.sqrt(0.5) * (own + slow[:, None])))


def banded(
    frame: Frame, arc_ma: float, low: float = 0.35, high: float = 0.75, bands: int = 1
) -> Scene:
    """A column that carries about `arc_ma` at the crest once its bands burn."""
    scene = plain(frame, 1.0)
    rest_us = arc_ma / (0.85 * scene.crest_kv)
    each = [band_of(frame, scene.crest_kv, rest_us, frame.uniform(low, high)) for _ in range(bands)]
    parts = [replace(band, length_cm=band.length_cm / bands) for band in each]
    wet = tuple(Segment(length_cm=10.0, full_us=3 * rest_us) for _ in range(3))
    scatter = scatter_of(frame, scene.halves, frame.uniform(0.04, 0.12))
    return replace(scene, segments=(*parts, *wet), scatter=scatter)


def with_bands(scene: Scene, **changed: float) -> Scene:
    """The same with other properties of its bands (the segments that may ignite)."""
    parts = tuple(
        replace(part, **changed) if part.water < 0.5 else part  # type: ignore[arg-type]
        for part in scene.segments
    )
    return replace(scene, segments=parts)


def over_film(scene: Scene, film_ma: float) -> Scene:
    """A plain film in parallel."""
    return replace(scene, beside_us=np.full(len(scene.halves), film_ma / scene.crest_kv))


def gated(scene: Scene, burning: np.ndarray) -> Scene:
    """Only chosen half-cycles may ignite: elsewhere wet rivulets bridge the band."""
    scatter = np.where(burning[:, None], scene.scatter, NEVER)
    return replace(scene, scatter=scatter)


def dry_band(frame: Frame) -> Scene:
    """One band, 5 to 60 mA."""
    return banded(frame, frame.spread(5, 60))


def slow_arcs(frame: Frame) -> Scene:
    """Arcs with much inertia: smooth rise, long end."""
    return with_bands(banded(frame, frame.spread(5, 40)), tau_s=frame.uniform(2e-4, 4e-4))


def far_apart(frame: Frame) -> Scene:
    """Single half-cycles, seconds apart, out of a film."""
    scene = over_film(banded(frame, frame.spread(5, 30)), frame.spread(0.3, 2))
    burning = np.zeros(len(scene.halves), dtype=bool)
    burning[np.searchsorted(scene.halves.edges_s, frame.times(0.6)) - 1] = True
    return gated(scene, burning)


def faint(frame: Frame) -> Scene:
    """3 to 6 mA over a film of 1 mA."""
    return over_film(banded(frame, frame.uniform(3.3, 6.5), 0.3, 0.65), frame.uniform(0.8, 1.2))


def small_on_large(frame: Frame) -> Scene:
    """4 to 12 mA beside a film of 8 to 25 mA."""
    return over_film(banded(frame, frame.uniform(4, 12), 0.4, 0.8), frame.uniform(8, 25))


def glow(frame: Frame) -> Scene:
    """A column of nearly fixed voltage that is hardly below what ignites: no step."""
    scene = banded(frame, frame.spread(4, 20), 0.35, 0.6)
    parts = []
    for part in scene.segments:
        if part.water < 0.5:
            drop = part.drop_kv
            need = part.length_cm * STRENGTH_KV_CM
            field = (0.93 * need - drop) / part.length_cm
            part = replace(part, field_kv_cm=field, exponent=0.05, tau_s=3e-4, seed_share=0.05)
        parts.append(part)
    return replace(scene, segments=tuple(parts))


def several_bands(frame: Frame) -> Scene:
    """Two or three bands in series: one lights the next."""
    return banded(frame, frame.spread(6, 50), 0.4, 0.8, int(frame.rng.integers(2, 4)))


def reignition(frame: Frame) -> Scene:
    """Arcs that lengthen until they break, and light anew in the same half-cycle."""
    scene = banded(frame, frame.spread(4, 15), 0.35, 0.55)
    return with_bands(scene, stretch_per_s=frame.uniform(600, 1500), residual=0.5)


def late_ignition(frame: Frame) -> Scene:
    """The strength alone is not enough: the voltage must stay above it for a while."""
    ignites, share = frame.uniform(0.4, 0.7), frame.uniform(0.4, 0.75)
    scene = banded(frame, frame.spread(6, 50), ignites, ignites)
    angle = np.arcsin(ignites)
    whole = 2 * np.cos(angle) - ignites * (np.pi - 2 * angle)
    area = share * whole * scene.crest_kv / (2 * np.pi * frame.mains_hz)
    return with_bands(scene, area_kv_s=area, residual=0.0)


def early_extinction(frame: Frame) -> Scene:
    """Arcs that lengthen until they break, once a half-cycle."""
    scene = banded(frame, frame.spread(5, 25), 0.35, 0.6)
    scatter = scene.scatter.copy()
    scatter[:, 1:] = NEVER
    stretch = frame.uniform(500, 1200)
    return with_bands(replace(scene, scatter=scatter), stretch_per_s=stretch)


def one_polarity(frame: Frame) -> Scene:
    """A band that ignites on one side only."""
    scene = banded(frame, frame.spread(5, 30), 0.35, 0.6)
    if frame.chance(0.5):
        return with_bands(scene, negative=4.0)
    strong = 4.0
    return with_bands(scene, strength_kv_cm=strong * STRENGTH_KV_CM, negative=1 / strong)


def bursts(frame: Frame) -> Scene:
    """Times of burning and of rest, each from a few to some tens of half-cycles."""
    scene = over_film(banded(frame, frame.spread(5, 40)), frame.spread(0.3, 3))
    ends, starts = 1 / frame.uniform(4, 20), 1 / frame.uniform(10, 50)
    burning, on = np.zeros(len(scene.halves), dtype=bool), False
    for half, draw in enumerate(frame.rng.random(len(burning)).tolist()):
        on = draw > ends if on else draw < starts
        burning[half] = on
    return gated(scene, burning)


def self_made(frame: Frame) -> Scene:
    """A wet film that dries at its narrowest part by its own heat, until that part arcs."""
    scene = banded(frame, frame.spread(6, 20), 0.4, 0.6)
    band, *wet = scene.segments
    current = 0.6 * scene.crest_kv * wet[0].full_us / 3
    heat = current**2 / 2 / band.full_us / frame.uniform(15, 40)
    part = replace(
        band,
        water=1.0,
        heat_j_k=heat,
        loss_w_k=heat / 3,
        drying_per_k_s=0.12,
        fog_per_s=frame.uniform(0.01, 0.05),
    )
    return replace(scene, segments=(part, *wet))


def under_distortion(frame: Frame) -> Scene:
    """A band under 4 to 8 % of supply harmonics."""
    scene = over_film(banded(frame, frame.spread(4, 30)), frame.spread(0.3, 5))
    return replace(scene, harmonics=harmonics_of(frame, frame.uniform(0.04, 0.08)))


def amid_corona(frame: Frame) -> Scene:
    """Arcs with pulses beside them."""
    scene = banded(frame, frame.spread(5, 30))
    return replace(scene, pulses=pulses_at_crests(frame, scene, 1.0, (0.5, 5), (2e-5, 8e-5)))


def beside_arrester(frame: Frame) -> Scene:
    """Arcs beside a peaky arrester current."""
    scene = over_film(banded(frame, frame.spread(5, 30)), frame.spread(0.5, 2))
    return replace(scene, arrester_ma=frame.uniform(0.3, 2), arrester_power=frame.uniform(6, 14))


def with_direct_current(frame: Frame) -> Scene:
    """Arcs beside a direct current."""
    scene = banded(frame, frame.spread(5, 30))
    sensor = replace(scene.sensor, droop_hz=0.0)
    return replace(scene, direct_ma=frame.uniform(-2, 2), sensor=sensor)


def reversed_arcs(frame: Frame) -> Scene:
    """Arcs, leads exchanged."""
    scene = banded(frame, frame.spread(5, 30))
    return replace(scene, sensor=replace(scene.sensor, sign=-1))


def with_gaps(frame: Frame) -> Scene:
    """Arcs, stretches lost."""
    scene = banded(frame, frame.spread(5, 30))
    return replace(scene, sensor=replace(scene.sensor, gaps=gap_spans(frame)))


def clipped_fine(frame: Frame) -> Scene:
    """Arcs of 6 to 30 mA on a single range of 5 mA."""
    scene = banded(frame, frame.uniform(7, 30))
    return replace(scene, sensor=replace(scene.sensor, full_scales_ma=(5.0,)))


def two_ranges(frame: Frame) -> Scene:
    """Arcs about the end of the fine of two ranges."""
    scene = banded(frame, frame.spread(4, 40))
    return replace(scene, sensor=replace(scene.sensor, full_scales_ma=(5.0, 250.0)))


def clipped_coarse(frame: Frame) -> Scene:
    """Arcs of 280 to 600 mA on a single range of 250 mA."""
    scene = banded(frame, frame.uniform(280, 600))
    return replace(scene, sensor=replace(scene.sensor, full_scales_ma=(250.0,)))


def to_flashover(frame: Frame) -> Scene:
    """From 20 towards 900 mA, then a power arc for three half-cycles, then the line is off."""
    scene = banded(frame, 20.0)
    at = frame.uniform(0.6, 0.75) * frame.seconds
    middle = scene.halves.middle_s()
    end = at + 1.5 / frame.mains_hz
    growth = (frame.uniform(300, 900) / 20) ** np.clip(middle / at, 0, 1)
    power = scene.halves.within((at, end))
    level = np.where(middle < end, 1.0, 0.0)
    sensor = replace(scene.sensor, full_scales_ma=(1000.0,), bits=16)
    return replace(
        scene,
        scale=growth,
        beside_us=np.where(power, 2000.0, 0.0),
        level=level,
        power_arc=(at, end),
        dead_line=(end, frame.seconds + 1),
        neighbours_pf=(0.0, 0.0),
        sensor=sensor,
    )
