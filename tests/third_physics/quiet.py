"""Harmless families: no arc can burn, whatever the waveform looks like."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.third_physics.scene import Frame, Scene, harmonics_of, plain

Pulse = tuple[float, float, float]


def capacity_pf(scene: Scene, frame: Frame, crest_ma: float) -> float:
    """Capacitance that carries a crest at nominal frequency."""
    return crest_ma / (2 * np.pi * frame.mains_hz * scene.crest_kv * 1e-6)


def wet(frame: Frame) -> Scene:
    """Films of 0.3 to 40 mA under supply distortion of up to 8 %."""
    return plain(frame, frame.spread(0.3, 40.0), frame.uniform(0.02, 0.08))


def drying(frame: Frame) -> Scene:
    """A film whose narrowest part dries by its own heat, with too little voltage for an arc."""
    scene = plain(frame, frame.spread(2.0, 20.0))
    film = scene.segments
    current = scene.crest_kv / sum(1 / part.full_us for part in film)
    heat = current**2 / 2 / film[0].full_us / 60
    first = replace(film[0], heat_j_k=heat, loss_w_k=heat / 2, drying_per_k_s=0.05, fog_per_s=0.5)
    return replace(scene, segments=(first, *film[1:]))


def third_harmonic(frame: Frame) -> Scene:
    """A third harmonic of 5 to 15 % in the supply, at any phase."""
    scene = plain(frame, frame.spread(0.5, 25.0))
    third = (3, frame.uniform(0.05, 0.15), frame.uniform(0, 2 * np.pi))
    return replace(scene, harmonics=(third, *scene.harmonics[1:]))


def surge_arrester(frame: Frame) -> Scene:
    """A metal-oxide arrester in parallel: a peaky current. Exponent 6 to 14 (design choice)."""
    scene = plain(frame, frame.spread(0.5, 5.0), frame.uniform(0.01, 0.06))
    power = frame.uniform(6, 14)
    return replace(scene, arrester_ma=frame.spread(0.2, 4.0), arrester_power=power)


def capacitive(frame: Frame) -> Scene:
    """Dry: 0.05 to 2 mA through capacitances, a third of it from neighbours."""
    scene = plain(frame, 0.02, frame.uniform(0.01, 0.08))
    own = capacity_pf(scene, frame, frame.spread(0.05, 2.0))
    beside = (frame.uniform(0, 0.3) * own, frame.uniform(0, 0.3) * own)
    return replace(scene, self_pf=own, neighbours_pf=beside)


def direct_current(frame: Frame) -> Scene:
    """Up to 2 mA of direct current beside the film; a sensor without droop passes it."""
    scene = plain(frame, frame.spread(0.05, 10.0))
    sign = 1 if frame.chance(0.5) else -1
    sensor = replace(scene.sensor, droop_hz=0.0)
    return replace(scene, direct_ma=sign * frame.spread(0.1, 2.0), sensor=sensor)


def pulses_at_crests(
    frame: Frame,
    scene: Scene,
    per_half: float,
    crest: tuple[float, float],
    decay: tuple[float, float],
) -> tuple[Pulse, ...]:
    """Pulses within 35 degrees of the crest, with the sign of the voltage."""
    halves, found = scene.halves, []
    number = frame.rng.poisson(per_half, len(halves))
    for half in np.flatnonzero(number).tolist():
        first, end = halves.edges_s[half : half + 2].tolist()
        for _ in range(number[half]):
            at = first + (end - first) * frame.uniform(0.3, 0.7)
            found.append((at, halves.sign[half] * frame.spread(*crest), frame.spread(*decay)))
    return tuple(sorted(found))


def corona(frame: Frame) -> Scene:
    """Corona on a dry or beaded surface: many pulses of tens of microseconds."""
    scene = plain(frame, frame.spread(0.02, 1.0))
    return replace(
        scene, pulses=pulses_at_crests(frame, scene, frame.uniform(0.5, 6), (0.5, 8), (2e-5, 8e-5))
    )


def droplets(frame: Frame) -> Scene:
    """Drops that spit: few pulses, up to a fifth of a millisecond, over a beaded film."""
    scene = plain(frame, frame.spread(0.1, 4.0))
    return replace(
        scene, pulses=pulses_at_crests(frame, scene, frame.uniform(0.1, 1), (1, 8), (6e-5, 2e-4))
    )


def radio(frame: Frame) -> Scene:
    """Radio noise in bursts of 1 to 80 ms, broad or one folded frequency."""
    scene, bursts = plain(frame, frame.spread(0.05, 10.0)), []
    for at in frame.times(2.0).tolist():
        hertz = 0.0 if frame.chance(0.5) else frame.uniform(900, 0.45 * frame.rate_hz)
        bursts.append((at, at + frame.spread(1e-3, 0.08), frame.spread(0.1, 1.5), hertz))
    return replace(scene, bursts=tuple(bursts))


def switching(frame: Frame) -> Scene:
    """Switching surges that ring in the line, and small steps of the voltage."""
    scene, level = plain(frame, frame.spread(0.1, 15.0)), 1.0
    surges, levels = [], np.ones(len(scene.halves))
    for at in frame.times(0.6).tolist():
        crest = scene.crest_kv * frame.uniform(0.3, 1.2) * frame.rng.choice((-1, 1))
        surges.append((at, float(crest), frame.spread(2e-4, 2e-3)))
        level = frame.uniform(0.96, 1.04)
        levels[scene.halves.middle_s() > at] = level
    return replace(scene, surges=tuple(surges), level=levels)


def lightning(frame: Frame) -> Scene:
    """Strokes near the line: 10 to 80 kV for tens of microseconds."""
    scene, surges = plain(frame, frame.spread(0.05, 10.0)), []
    for at in frame.times(0.6).tolist():
        crest = frame.spread(10, 80) * frame.rng.choice((-1, 1))
        surges.append((at, float(crest), frame.spread(3e-5, 1.5e-4)))
    return replace(scene, surges=tuple(surges))


def inrush(frame: Frame) -> Scene:
    """A transformer is switched in: harmonics of both parities that die away."""
    scene, first = plain(frame, frame.spread(0.1, 15.0)), frame.uniform(0.2, 1.5)
    shares = ((2, 0.08), (3, 0.05), (4, 0.03), (5, 0.04), (6, 0.015))
    hum = tuple((n, s * frame.uniform(0.3, 1.2), frame.uniform(0, 6.28)) for n, s in shares)
    return replace(scene, hum=hum, hum_span=(first, first + frame.uniform(1, 3)))


def earth_fault(frame: Frame) -> Scene:
    """An earth fault on another phase: up to root three of the voltage for a while."""
    scene, span = plain(frame, frame.spread(0.05, 8.0)), frame.inside()
    level = np.where(scene.halves.within(span), frame.uniform(1.5, np.sqrt(3)), 1.0)
    return replace(scene, level=level, abnormal=span)


def bent_reference(frame: Frame) -> Scene:
    """The reference has harmonics that the surface never sees."""
    scene = plain(frame, frame.spread(0.2, 25.0))
    return replace(scene, sensor=replace(scene.sensor, bent_reference=frame.uniform(0.03, 0.1)))


def dead_sensor(frame: Frame) -> Scene:
    """The channel stands still for a stretch."""
    scene = plain(frame, frame.spread(0.3, 10.0))
    return replace(scene, sensor=replace(scene.sensor, dead=frame.inside()))


def lead_off(frame: Frame) -> Scene:
    """The lead hangs free for a stretch."""
    scene = plain(frame, frame.spread(0.3, 10.0))
    return replace(scene, sensor=replace(scene.sensor, lead_off=frame.inside()))


def reversed_leads(frame: Frame) -> Scene:
    """Leads exchanged."""
    scene = plain(frame, frame.spread(0.3, 15.0))
    return replace(scene, sensor=replace(scene.sensor, sign=-1))


def lost_samples(frame: Frame) -> Scene:
    """Samples marked absent, from one to tens of milliseconds of them."""
    scene = plain(frame, frame.spread(0.3, 15.0))
    spans = tuple((at, at + frame.spread(3e-4, 0.04)) for at in frame.times(1.0).tolist())
    return replace(scene, sensor=replace(scene.sensor, losses=spans))


def gap_spans(frame: Frame) -> tuple[tuple[float, float], ...]:
    """Two gaps of milliseconds to tenths of a second."""
    starts = (frame.uniform(0.2, 0.4), frame.uniform(0.6, 0.8))
    return tuple((s * frame.seconds, s * frame.seconds + frame.spread(3e-3, 0.4)) for s in starts)


def gaps(frame: Frame) -> Scene:
    """Stretches that never came."""
    scene = plain(frame, frame.spread(0.3, 15.0))
    return replace(scene, sensor=replace(scene.sensor, gaps=gap_spans(frame)))


def de_energised(frame: Frame) -> Scene:
    """The line is switched off and on."""
    scene, span = plain(frame, frame.spread(0.1, 10.0)), frame.inside()
    level = np.where(scene.halves.within(span), 0.0, 1.0)
    return replace(scene, level=level, dead_line=span, neighbours_pf=(0.0, 0.0))


def wet_clipped(frame: Frame) -> Scene:
    """A film beyond the only, fine range."""
    scene = plain(frame, frame.uniform(6, 30), frame.uniform(0.01, 0.06))
    return replace(scene, sensor=replace(scene.sensor, full_scales_ma=(5.0,)))


def ten_bits(frame: Frame) -> Scene:
    """Ten bits over 60 mA: steps of an eighth of a milliampere."""
    scene = plain(frame, frame.spread(0.8, 30.0), frame.uniform(0.01, 0.08))
    return replace(scene, sensor=replace(scene.sensor, bits=10, full_scales_ma=(60.0,)))


def noisy(frame: Frame) -> Scene:
    """The noisiest sensor on small currents."""
    scene = plain(frame, frame.spread(0.02, 1.0), frame.uniform(0.01, 0.08))
    return replace(scene, sensor=replace(scene.sensor, noise_ma=0.05))


def distorted_dry(frame: Frame) -> Scene:
    """Dry under 8 %: capacitance enlarges each harmonic by its order."""
    scene = capacitive(frame)
    return replace(scene, harmonics=harmonics_of(frame, frame.uniform(0.05, 0.08)))
