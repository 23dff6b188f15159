"""A take becomes a labelled recording: what flowed, what the sensor says of it, and the truth.

The rule of truth. A half-cycle in which a column carried current is ARCING where nobody with the
samples need doubt it, by all of these (each a design choice of the generator):
- the column carried more than a tenth of its crest for `LEAST_BURNING_S` together;
- what a sine of any phase cannot explain of the delivered column current has an energy of at least
  `LEAST_DEVIATIONS` squared, in units of the noise variance (noise, 1/f, quantising) per sample;
- its r.m.s. is at least `LEAST_SHARE` of the r.m.s. of all that was delivered in that half-cycle;
- no sample of it is absent, the record holds all of it, it is not the power arc of a flashover.
Otherwise it is DOUBTFUL. Without column, a half-cycle with a visible short discharge is
CORONA_SPIKE; every other is HARMLESS.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.families.labelled import Bools, Floats, Kind, Label, Labelled, Recording, Truth
from tests.second_physics.chain import clamped, fast_length, noise_of, passed, settling_s
from tests.second_physics.coding import Coded, coded
from tests.second_physics.pulses import keyed, laid, surged
from tests.second_physics.stage import Stage, Take
from tests.second_physics.supply import LEAD_S, TAIL_S, dry_phasor_ma

LEAST_BURNING_S = 0.8e-3
LEAST_DEVIATIONS = 15.0
LEAST_SHARE = 0.03
SPIKE_LEAST_MA = 0.15
INNER_HZ = 50_000.0


@dataclass(frozen=True, slots=True, eq=False)
class Flow:
    """Waves at the insulator on even steps: all current, columns [mA], voltage [kV]."""

    inner_hz: float
    factor: int
    lead: int
    current: Floats
    column: Floats
    voltage: Floats
    reference: Floats


def flow_of(stage: Stage, take: Take) -> Flow:
    """Lanes onto even steps, with what does not follow the mains."""
    factor = int(np.ceil(INNER_HZ / stage.rate_hz - 1e-9))
    inner_hz = factor * stage.rate_hz
    lead = int(LEAD_S * stage.rate_hz) * factor
    count = lead + (stage.count + int(TAIL_S * stage.rate_hz)) * factor
    time = (np.arange(count) - lead) / inner_hz
    place = np.interp(time, take.supply.lanes.times_s().ravel(), np.arange(take.current.size))
    low = place.astype(np.int64)
    part = place - low
    high = np.minimum(low + 1, take.current.size - 1)

    def even(lanes: Floats) -> Floats:
        flat = lanes.ravel()
        before = flat[low]
        return np.asarray(before + part * (flat[high] - before))

    current, voltage = even(take.current), even(take.supply.voltage)
    column = np.zeros(count) if take.arcs is None else even(take.column)
    laid(take.pulses, current, time[0], inner_hz)
    reference = voltage if take.reference is None else even(take.reference)
    reference = reference.copy()
    surged(take.surges, current, reference, time[0], inner_hz)
    return Flow(inner_hz, factor, lead, current, column, voltage, reference)


def labelled(name: str, kind: Kind, seed: int, stage: Stage, take: Take) -> Labelled:
    """The recording of a take with its truth."""
    flow, chain = flow_of(stage, take), take.chain
    length = fast_length(len(flow.current) + int(settling_s(chain) * flow.inner_hz))
    hertz = np.asarray(np.fft.rfftfreq(length, 1 / flow.inner_hz), dtype=np.float64)
    before = float(flow.current[: round(10 * flow.inner_hz / stage.mains_hz)].mean())
    seen = slice(flow.lead, flow.lead + stage.count * flow.factor, flow.factor)
    gain = chain.sign * (1 + chain.gain_error)
    response = chain.response(hertz)
    current = gain * passed(clamped(chain, flow.current), response, length, before)[seen]
    column = np.zeros(stage.count)
    if take.arcs is not None:
        column = gain * passed(clamped(chain, flow.column), response, length, 0.0)[seen]
    edges = take.supply.lanes.edges_s * stage.rate_hz
    turns = np.interp(np.arange(stage.count), edges, np.arange(len(edges)))
    angle = np.pi * turns + (0.0 if take.supply.lanes.signs[0] > 0 else np.pi)
    pick_up = np.sqrt(2) * abs(chain.hum) * np.sin(angle + np.angle(chain.hum))
    disturbed = chain.sign * pick_up + keyed(take.keyings, stage.count, stage.rate_hz)
    noise = noise_of(stage.rng, chain, stage.count, stage.rate_hz)
    reference = None
    if stage.with_voltage:
        whole = passed(flow.reference, chain.reference_response(hertz), length, 0.0)
        reference = whole[seen]
    held = coded(stage, take, current, disturbed, noise, reference)
    primary = dry_phasor_ma(take.supply, take.picofarad)
    dry = chain.phasor(primary, 0.5 / float(np.median(take.supply.lanes.spans_s)))
    told = dry * (1 + 0.005 * complex(*stage.rng.normal(size=2))) if take.calibrated else None
    recording = Recording(
        held.description,
        held.samples,
        stage.start_utc_ns,
        tuple(range(len(chain.full_scales_ma))),
        len(chain.full_scales_ma) if stage.with_voltage else None,
        told,
        held.missing,
        held.gaps,
    )
    truth = truth_of(stage, take, flow, held, column, current + disturbed, angle, dry)
    return Labelled(name, kind, seed, recording, truth)


def truth_of(
    stage: Stage,
    take: Take,
    flow: Flow,
    held: Coded,
    column: Floats,
    delivered: Floats,
    angle: Floats,
    dry: complex,
) -> Truth:
    """The truth of the lanes that the recording touches."""
    lanes = take.supply.lanes
    edges = lanes.edges_s * stage.rate_hz
    kept = np.flatnonzero((edges[1:] > 0) & (edges[:-1] < stage.count))
    marks = edges[kept[0] : kept[-1] + 2]
    whole = (marks[:-1] >= 0) & (marks[1:] <= stage.count)
    inner = np.concatenate(([0.0], np.cumsum(np.abs(flow.current)))) / flow.inner_hz / 1000
    charge = np.diff(np.interp(marks * flow.factor + flow.lead, np.arange(len(inner)), inner))
    step_s = (lanes.spans_s / take.current.shape[1])[kept]
    arc = np.abs(take.column[kept]) if take.arcs is not None else np.zeros((len(kept), 1))
    arc_charge = arc.sum(1) * step_s / 1000
    burning_s = np.sum(arc > 0.1 * arc.max(1, keepdims=True), axis=1) * step_s
    burnt = arc_charge > 0
    part = (arc @ np.arange(arc.shape[1])) / np.maximum(arc.sum(1), 1e-30) / arc.shape[1]
    centre = marks[:-1] + np.where(burnt, part, 0.5) * np.diff(marks)
    clear = evident(take, marks, column, delivered, angle) & (burning_s >= LEAST_BURNING_S)
    clear &= whole & ~held.lost(marks) & ~take.power_arc[kept]
    label = np.where(burnt, np.where(clear, Label.ARCING, Label.DOUBTFUL), Label.HARMLESS)
    label = np.where(~burnt & spiky(take)[kept], Label.CORONA_SPIKE, label)
    polarity = (lanes.signs[kept] * take.chain.sign).astype(np.int8)
    return Truth(
        marks,
        label.astype(np.int8),
        take.surface[kept],
        polarity,
        charge,
        arc_charge,
        centre,
        np.abs(take.film_ma[kept]).max(1),
        held.clipped(marks),
        held.lost(marks),
        dry,
    )


def spiky(take: Take) -> Bools:
    """Lanes with a discharge large enough to be seen behind the low-pass."""
    pulses, mark = take.pulses, np.zeros(len(take.supply.lanes), dtype=bool)
    slow_s = 1 / (2 * np.pi * take.chain.corner_hz)
    seen = np.abs(pulses.peak_ma) * pulses.decay_s / (pulses.decay_s + slow_s)
    least = max(SPIKE_LEAST_MA, 5 * take.chain.noise_ma)
    mark[pulses.lane[seen > least].astype(np.int64)] = True
    return mark


def evident(take: Take, marks: Floats, column: Floats, delivered: Floats, angle: Floats) -> Bools:
    """Half-cycles whose column current stands above noise and above what a sine explains."""
    if take.arcs is None:
        return np.zeros(len(marks) - 1, dtype=bool)
    first = np.clip(np.ceil(marks[:-1]), 0, len(column) - 1).astype(np.int64)

    def total(wave: Floats) -> Floats:
        return np.asarray(np.add.reduceat(wave, first))

    sine, cosine = np.sin(angle), np.cos(angle)
    number = np.maximum(total(np.ones(len(column))), 1)
    explained = 2 * (total(column * sine) ** 2 + total(column * cosine) ** 2) / number
    rest = np.maximum(total(column**2) - explained, 0.0)
    step = take.chain.steps_ma[-1]
    variance = take.chain.noise_ma**2 + take.chain.flicker_ma**2 + step**2 / 12
    loud = rest >= LEAST_DEVIATIONS**2 * variance
    return np.asarray(loud & (rest >= LEAST_SHARE**2 * total(delivered**2)))
