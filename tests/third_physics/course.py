"""A scene integrated: currents and voltages at the insulator on fine, even steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.families.labelled import Floats
from tests.third_physics.native import integrated
from tests.third_physics.scene import LEAD_S, TAIL_S, Frame, Scene

INNER_HZ = 100_000.0
"""Steps are at least this dense: a tenth of the arc's inertia and of the line's ringing."""


@dataclass(frozen=True, slots=True, eq=False)
class Flow:
    """Waves on even steps. factor: steps a sample; lead: steps before the first sample.

    current_ma: all that reaches the collector. arc_ma: the arc alone. film_ma: through films.
    """

    inner_hz: float
    factor: int
    lead: int
    time_s: Floats
    phase: Floats
    half: npt.NDArray[np.int32]
    voltage_kv: Floats
    current_ma: Floats
    arc_ma: Floats
    film_ma: Floats
    water: Floats


def source_kv(scene: Scene, time: Floats, phase: Floats, half: npt.NDArray[np.int32]) -> Floats:
    """The source: fundamental, harmonics, a stretch of more of them, surges."""
    wave = np.sin(phase)
    for order, share, turn in scene.harmonics:
        wave += share * np.sin(order * phase + turn)
    if scene.hum:
        first, end = scene.hum_span
        fade = np.where((time > first) & (time < end), np.exp(-(time - first) / (end - first)), 0.0)
        for order, share, turn in scene.hum:
            wave += fade * share * np.sin(order * phase + turn)
    wave *= scene.crest_kv * scene.level[half]
    for at, crest, decay in scene.surges:
        low, high = np.searchsorted(time, (at, at + 8 * decay))
        wave[low:high] += crest * np.exp(-(time[low:high] - at) / decay)
    return wave


def stray_ma(scene: Scene, flow_hz: float, phase: Floats, voltage: Floats) -> Floats:
    """Capacitive currents: the insulator's own, and of two neighbours at 120 degrees."""
    current = scene.self_pf * 1e-6 * flow_hz * np.gradient(voltage)
    for capacity, turn in zip(scene.neighbours_pf, (-1, 1), strict=True):
        if capacity:
            other = scene.crest_kv * np.sin(phase + turn * 2 * np.pi / 3)
            current += capacity * 1e-6 * flow_hz * np.gradient(other)
    return current


def with_pulses(scene: Scene, current: Floats, time: Floats) -> None:
    """Short discharges, laid into the current where they stand."""
    for at, crest, decay in scene.pulses:
        low, high = np.searchsorted(time, (at, at + 8 * decay))
        current[low:high] += crest * np.exp(-(time[low:high] - at) / decay)


def course_of(frame: Frame, scene: Scene) -> Flow:
    """What flows."""
    factor = int(np.ceil(INNER_HZ / frame.rate_hz - 1e-9))
    inner_hz = factor * frame.rate_hz
    lead = round(LEAD_S * frame.rate_hz) * factor
    count = lead + (sample_count(frame) + round(TAIL_S * frame.rate_hz)) * factor
    time = (np.arange(count) - lead) / inner_hz
    edges = scene.halves.edges_s
    turns = np.interp(time, edges, np.arange(len(edges)))
    half = np.minimum(turns.astype(np.int32), len(edges) - 2)
    phase = np.pi * turns
    emf = source_kv(scene, time, phase, half)
    course = integrated(
        1 / inner_hz, emf, half, scene.scatter, scene.beside_us, scene.scale, scene.segments
    )
    voltage = course.voltage_kv
    current = course.surface_ma + stray_ma(scene, inner_hz, phase, voltage) + scene.direct_ma
    if scene.arrester_ma:
        relative = voltage / scene.crest_kv
        current += scene.arrester_ma * np.sign(relative) * np.abs(relative) ** scene.arrester_power
    with_pulses(scene, current, time)
    film = course.surface_ma - course.arc_ma
    return Flow(
        inner_hz,
        factor,
        lead,
        time,
        phase,
        half,
        voltage,
        current,
        course.arc_ma,
        film,
        course.water,
    )


def sample_count(frame: Frame) -> int:
    """Samples of the recording."""
    return round(frame.seconds * frame.rate_hz)
