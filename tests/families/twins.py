"""Careless twins of the detector: one limit on amplitude, one on a harmonic ratio. Both must fail.

They share a plain mains clock: the reference, or else the current, mixed down at nominal frequency
and averaged over five cycles.
"""

from __future__ import annotations

from functools import partial

import numpy as np

from edge.quantities import WINDOW_CYCLES, State
from tests.families.labelled import Floats, Recording
from tests.families.outcome import (
    ARCING,
    NOT_ARCING,
    HalfcycleOutcome,
    Judge,
    Outcome,
    in_windows,
)

AVERAGE_CYCLES = 5
WET_FLOOR_MA = 0.3


def current_ma(recording: Recording) -> Floats:
    """The coarsest range, scaled, absent samples at zero."""
    column = recording.ranges[-1]
    channel = recording.description.channels[column]
    current = recording.samples[:, column].astype(np.float64) * channel.gain + channel.offset
    if recording.missing is not None:
        current[recording.missing[:, column]] = 0.0
    for first, end in recording.gaps:
        current[first:end] = 0.0
    return current


def mains_edges(recording: Recording) -> Floats:
    """Zeros of the fundamental [samples]."""
    signal = recording.description
    if recording.voltage is None:
        wave = current_ma(recording)
    else:
        wave = recording.samples[:, recording.voltage].astype(np.float64)
    index = np.arange(len(wave))
    carrier = 2 * np.pi * signal.nominal_hz / signal.rate_hz * index
    mixed = np.cumsum(np.r_[0, wave * np.exp(-1j * carrier)])
    reach = round(AVERAGE_CYCLES * signal.rate_hz / signal.nominal_hz / 2)
    low, high = np.maximum(index - reach, 0), np.minimum(index + reach, len(wave))
    slow = (mixed[high] - mixed[low]) / (high - low)
    angle = np.maximum.accumulate(np.unwrap(np.angle(slow)) + carrier + np.pi / 2)
    turns = np.arange(np.ceil(angle[0] / np.pi), np.floor(angle[-1] / np.pi) + 1)
    edges = np.interp(turns * np.pi, angle, index)
    keep = np.r_[True, np.diff(edges) > 0.2 * reach / AVERAGE_CYCLES]
    return edges[keep]


def _each(edges: Floats, wave: Floats) -> Floats:
    """Largest |wave| of each half-cycle."""
    at = np.minimum(np.ceil(edges).astype(np.int64), len(wave) - 1)
    return np.maximum.reduceat(np.abs(wave), at)[:-1]


def _outcome(recording: Recording, edges: Floats, arcing: np.ndarray) -> Outcome:
    """Half-cycles and windows of a twin's verdicts."""
    current = current_ma(recording)
    rate_hz, nominal = recording.description.rate_hz, int(recording.description.nominal_hz)
    peak, count = _each(edges, current), len(edges) - 1
    running = np.cumsum(np.r_[0.0, np.abs(current)]) / rate_hz / 1000
    charge = np.diff(np.interp(edges, np.arange(len(running)), running))
    at = np.minimum(np.ceil(edges).astype(np.int64), len(current) - 1)
    flow = np.add.reduceat(current, at)[:-1]
    said = HalfcycleOutcome(
        edges[:-1],
        edges[1:],
        arcing.astype(float),
        np.where(arcing, ARCING, NOT_ARCING).astype(np.int8),
        np.where(flow >= 0, 1, -1).astype(np.int8),
        charge,
    )
    first = np.arange(0, count, 2 * WINDOW_CYCLES[nominal])
    last = np.minimum(first + 2 * WINDOW_CYCLES[nominal], count)
    wet = np.maximum.reduceat(peak, first) > WET_FLOOR_MA
    quiet = tuple(State.WET if is_wet else State.DRY for is_wet in wet)
    return Outcome(in_windows(said, edges[first], edges[last], quiet), said)


def amplitude(recording: Recording, limit_ma: float) -> Outcome:
    """Arcing is whatever exceeds a limit."""
    edges = mains_edges(recording)
    return _outcome(recording, edges, _each(edges, current_ma(recording)) > limit_ma)


def ratio(recording: Recording, limit: float) -> Outcome:
    """Arcing is whatever has more third harmonic than a limit, cycle by cycle."""
    edges = mains_edges(recording)
    current, index = current_ma(recording), np.arange(len(recording.samples))
    angle = np.interp(index, edges, np.arange(len(edges)) * np.pi)
    at = np.minimum(np.ceil(edges).astype(np.int64), len(current) - 1)
    parts = [np.abs(_over_cycle(current * np.exp(-1j * order * angle), at)) for order in (1, 3)]
    level = parts[1] / np.maximum(parts[0], 1e-9)
    return _outcome(recording, edges, level > limit)


def _over_cycle(wave: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Sum over the cycle that starts with each half-cycle (the last: that ends with it)."""
    half = np.add.reduceat(wave, at)[:-1]
    cycle = half[:-1] + half[1:]
    return np.r_[cycle, cycle[-1:]]


AMPLITUDES_MA = (0.5, 1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0, 40.0)
RATIOS = (0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5)

amplitude_5ma: Judge = partial(amplitude, limit_ma=5.0)
ratio_10pct: Judge = partial(ratio, limit=0.1)
