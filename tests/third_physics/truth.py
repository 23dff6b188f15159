"""The rule of truth, from what the circuit did.

A half-cycle is ARCING where an arc truly conducts in it:
- the arc's charge is at least `SHARE_SURE` of all charge of that half-cycle (both as integrals of
  the size of the current at the insulator), and
- in the samples the arc's crest is at least `CREST_SURE` times noise and converter step together,
- no sample of it is absent, all of it is in the recording, it is no power arc.
With an arc's charge below `SHARE_NONE` of all it is not arcing. Between, or where one of the other
conditions fails, it is DOUBTFUL: scored neither way, and its share is printed. All three limits
are design choices, made before any detector was run. Short discharges of `SPIKE_LEAST_MA` behind
the low-pass, and no arc, make CORONA_SPIKE.
"""

from __future__ import annotations

import numpy as np

from tests.families.labelled import Bools, Floats, Label, Surface, Truth
from tests.families.window_truth import WET_PEAK_MA
from tests.third_physics.chain import Delivered, response
from tests.third_physics.course import Flow, sample_count
from tests.third_physics.scene import Frame, Scene

SHARE_SURE = 0.08
SHARE_NONE = 0.01
CREST_SURE = 6.0
SPIKE_LEAST_MA = 0.15


def any_within(mark: Bools, marks: Floats) -> Bools:
    """Whether a marked sample lies between two edges."""
    running = np.concatenate(([0], np.cumsum(mark)))
    return np.asarray(np.diff(running[_rows(marks, len(mark))]) > 0)


def _rows(marks: Floats, count: int) -> np.ndarray:
    return np.clip(np.ceil(marks), 0, count).astype(np.int64)


def integral_c(wave: Floats, flow: Flow, marks: Floats) -> Floats:
    """Of |wave| [mA] between marks [samples], in coulomb."""
    running = np.concatenate(([0.0], np.cumsum(np.abs(wave)))) / flow.inner_hz / 1000
    at = marks * flow.factor + flow.lead
    return np.asarray(np.diff(np.interp(at, np.arange(len(running)), running)))


def crest_of(wave: Floats, at: np.ndarray) -> Floats:
    """Largest |wave| from each row to the next; nought where there are none."""
    size = np.append(np.abs(wave), 0.0)
    most = np.maximum.reduceat(size, np.minimum(at[:-1], len(wave)))
    return np.where(np.diff(at) > 0, most, 0.0)


def dry_phasor_ma(frame: Frame, scene: Scene, flow: Flow) -> complex:
    """Of the bare surface as the sensor delivers it, r.m.s., against the voltage as a sine."""
    hertz = 0.5 / float(np.median(np.diff(scene.halves.edges_s)))
    picofarad = scene.self_pf + sum(
        c * np.exp(1j * turn * 2 * np.pi / 3)
        for c, turn in zip(scene.neighbours_pf, (-1, 1), strict=True)
    )
    bare = 2j * np.pi * hertz * picofarad * 1e-6 * scene.crest_kv / np.sqrt(2)
    return complex(bare * response(scene.sensor, flow.inner_hz, hertz))


def surfaces(scene: Scene, kept: np.ndarray, film: Floats) -> np.ndarray:
    """What holds besides arcs; nothing about the moments at which it changes."""
    halves, sensor = scene.halves, scene.sensor
    surface = np.where(film > WET_PEAK_MA, Surface.WET, Surface.DRY)
    raised = np.where(film > WET_PEAK_MA, Surface.ABNORMAL_WET, Surface.ABNORMAL_DRY)
    surface = np.where(halves.within(scene.abnormal)[kept], raised, surface)
    spans = (
        (scene.dead_line, Surface.DEAD_LINE),
        (sensor.dead, Surface.DEAD_SENSOR),
        (sensor.lead_off, Surface.OPEN_LEAD),
    )
    for span, held in spans:
        surface[halves.within(span)[kept]] = held
    every = (scene.dead_line, sensor.dead, sensor.lead_off, scene.abnormal, scene.power_arc)
    moments = np.array([at for span in every for at in span] + list(scene.unscored))
    middle = halves.middle_s()[kept]
    near = (np.abs(middle[:, None] - moments[None, :]) < 0.03).any(1)
    near |= halves.within(scene.power_arc)[kept]
    return np.where(near, Surface.UNSCORED, surface).astype(np.int8)


def spiky(scene: Scene, flow: Flow, marks: Floats, rate_hz: float) -> Bools:
    """Half-cycles with a discharge that is seen behind the low-pass."""
    slow_s = 1 / (2 * np.pi * scene.sensor.low_pass_hz)
    least = max(SPIKE_LEAST_MA, 5 * scene.sensor.noise_ma)
    at = [t * rate_hz for t, crest, s in scene.pulses if abs(crest) * s / (s + slow_s) > least]
    return np.asarray(np.histogram(at, marks)[0] > 0)


def truth_of(frame: Frame, scene: Scene, flow: Flow, held: Delivered) -> Truth:
    """Of the half-cycles that the recording touches."""
    count, halves = sample_count(frame), scene.halves
    edges = halves.edges_s * frame.rate_hz
    kept = np.flatnonzero((edges[1:] > 0) & (edges[:-1] < count))
    marks = edges[kept[0] : kept[-1] + 2]
    charge, arc = integral_c(flow.current_ma, flow, marks), integral_c(flow.arc_ma, flow, marks)
    share = arc / np.maximum(charge, 1e-15)
    fine = np.clip(np.ceil(marks * flow.factor + flow.lead), 0, len(flow.time_s)).astype(np.int64)
    film = crest_of(flow.film_ma, fine)
    clear = crest_of(held.arc_ma, _rows(marks, count)) >= CREST_SURE * held.spread_ma
    lost = any_within(held.absent, marks)
    whole = (marks[:-1] >= 0) & (marks[1:] <= count) & ~lost
    whole &= ~halves.within(scene.power_arc)[kept]
    sure = (share >= SHARE_SURE) & clear & whole
    label = np.where(share < SHARE_NONE, Label.HARMLESS, Label.DOUBTFUL)
    label = np.where(sure, Label.ARCING, label)
    quiet = (label == Label.HARMLESS) & spiky(scene, flow, marks, frame.rate_hz)
    label = np.where(quiet, Label.CORONA_SPIKE, label)
    blind = halves.within(scene.sensor.dead)[kept] | halves.within(scene.sensor.lead_off)[kept]
    label = np.where(blind & (arc > 0), Label.DOUBTFUL, label)
    moment = np.concatenate(([0.0], np.cumsum(np.abs(flow.arc_ma) * np.arange(len(flow.arc_ma)))))
    weight = np.concatenate(([0.0], np.cumsum(np.abs(flow.arc_ma))))
    part = np.diff(moment[fine]) / np.maximum(np.diff(weight[fine]), 1e-9)
    middle = (marks[:-1] + marks[1:]) / 2
    centre = np.where(np.diff(weight[fine]) > 0, (part - flow.lead) / flow.factor, middle)
    return Truth(
        marks,
        label.astype(np.int8),
        surfaces(scene, kept, film),
        (halves.sign[kept] * scene.sensor.sign).astype(np.int8),
        charge,
        arc,
        np.clip(centre, marks[:-1], marks[1:]),
        film,
        any_within(held.at_end, marks),
        lost,
        dry_phasor_ma(frame, scene, flow),
    )
