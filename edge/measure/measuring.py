"""From samples to the window table of one insulator: a fixed computation for each window.

Every window is computed from its own points by operations that never mix windows, so that it does
not matter how many are computed together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.measure.aligning import Axis, aligned
from edge.measure.arcing import Verdict, judged
from edge.measure.beside import Beside, beside
from edge.measure.placing import Placement, Signal, turned
from edge.measure.plan import MeasureLimits
from edge.measure.resampling import Taps, grid, resampled, taps_at
from edge.measure.sums import Sums, extremes, integrated
from edge.measure.surface import Seen, state_columns
from edge.measure.waveform import spectral, waveform_columns
from edge.measure.windows import ABSENT, WindowTable, quantised
from edge.quantities import PULSE_LEVELS_MA

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

UA = 1e3
"""Microamperes in a milliampere."""

MILLI_TO_NANO = MILLI_TO_MICRO2 = JOULE_TO_MICRO = 1e6
"""mC to nC, mA2 s to pA2 s, J to uJ."""


def measured(
    signal: Signal, placed: Placement, limits: MeasureLimits, axis: Axis
) -> tuple[WindowTable, Axis]:
    """The window table of one insulator at `placed`, and the axis found where no voltage is."""
    current, voltage = _points(signal, placed)
    lost = ~np.isfinite(np.add.reduce(current, axis=-1))
    current = np.where(lost[:, None], 0.0, current)
    half_placed, by_half = placed, current
    if signal.voltage is None and placed.cycles:
        turns, axis = aligned(current, placed.cycles, axis)
        half_placed = turned(placed, turns)
        by_half, _ = _points(signal, half_placed)
        lost = lost | ~np.isfinite(np.add.reduce(by_half, axis=-1))
        by_half = np.where(lost[:, None], 0.0, by_half)
    halves = _halves(signal, half_placed, by_half, voltage, lost)
    sums = _integrated(placed, current, voltage)
    pieces = beside(signal, placed)
    lines = spectral(current, voltage, placed)
    columns = {
        "start": placed.start,
        "start_us": placed.start_us,
        "duration_us": placed.stop_us - placed.start_us,
        **_counts(placed, halves, pieces, lost),
        **_totals(signal, halves, sums, pieces, lost),
        **waveform_columns(signal, placed, limits, sums, pieces, lines, lost),
    }
    seen = Seen(signal, placed, limits, lines, lost, columns)
    return WindowTable(**columns, **state_columns(seen)), axis


@dataclass(frozen=True, slots=True, eq=False)
class _Halves:
    """The half-cycles of some windows, as they are judged; arrays of shape (n, halves).

    polarity: sign of the voltage, shape (halves,). arcing: verdict, none where samples are lost.
    peaks [mA]; clipped: at the converter's end; sums: of each half-cycle.
    """

    placed: Placement
    polarity: Floats
    verdict: Verdict
    arcing: Bools
    peaks: Floats
    clipped: Bools
    sums: Sums


def _halves(
    signal: Signal, placed: Placement, current: Floats, voltage: Floats | None, lost: Bools
) -> _Halves:
    polarity = signal.polarity * np.where(np.arange(placed.halves) % 2, -1.0, 1.0)
    shape = (len(current), placed.halves, placed.points)
    volts = None if voltage is None else voltage.reshape(shape)
    verdict = judged(current.reshape(shape), volts, polarity)
    peaks, clipped = _peaks(signal, placed)
    sums = _integrated(placed, current, voltage)
    return _Halves(placed, polarity, verdict, verdict.arcing & ~lost[:, None], peaks, clipped, sums)


def _integrated(placed: Placement, current: Floats, voltage: Floats | None) -> Sums:
    """Sums of each half-cycle."""
    shape = (len(current), placed.halves, placed.points)
    step_s = (placed.ends - placed.starts) / (placed.rate_hz * max(1, current.shape[1]))
    volts = None if voltage is None else voltage.reshape(shape)
    return integrated(current.reshape(shape), volts, step_s[:, None])


def _points(signal: Signal, placed: Placement) -> tuple[Floats, Floats | None]:
    """Current and voltage of every window on the mains clock, shape (n, halves * points)."""
    count, points = len(placed.starts), placed.halves * placed.points
    if points == 0:
        empty = np.zeros((count, 0))
        return empty, None if signal.voltage is None else empty
    lag = _taps(signal, placed, signal.lag_turn)
    current = resampled(signal.current, lag).reshape(count, points)
    if signal.voltage is None:
        return current, None
    same = signal.lag_turn == -signal.voltage_turn
    taps = lag if same else _taps(signal, placed, -signal.voltage_turn)
    return current, resampled(signal.voltage, taps).reshape(count, points)


def _taps(signal: Signal, placed: Placement, turns: float) -> Taps:
    """Of the points of each half-cycle, read `turns` cycles later."""
    points = placed.halves * placed.points
    cycle = 2 * (placed.ends - placed.starts) / placed.halves
    positions = grid(placed.starts, placed.ends, points) - signal.kept_from
    return taps_at((positions + (turns * cycle)[:, None]).reshape(-1, placed.points))


def _peaks(signal: Signal, placed: Placement) -> tuple[Floats, Bools]:
    """(highest absolute sample [mA], at the converter's end) of each half-cycle, (n, halves)."""
    count, halves = len(placed.starts), placed.halves
    if halves == 0:
        return np.zeros((count, 0)), np.zeros((count, 0), np.bool_)
    share = np.arange(halves) / halves
    inner = np.rint(placed.starts[:, None] + (placed.ends - placed.starts)[:, None] * share)
    edges = np.concatenate([inner, np.rint(placed.ends)[:, None]], axis=1).astype(np.int64)
    high, low = extremes(signal.current, edges - signal.kept_from)
    clipped = (high >= signal.high_ma) | (low <= signal.low_ma)
    return np.maximum(high, -low), clipped


def _counts(placed: Placement, halves: _Halves, pieces: Beside, lost: Bools) -> dict[str, Integers]:
    """Columns that count half-cycles, and the peaks behind the counts."""
    kept = ~lost[:, None]
    positive, arcing = halves.polarity > 0, halves.arcing
    peak_ua = quantised(np.where(kept, halves.peaks, 0.0), UA)
    over = peak_ua[:, :, None] > np.array(PULSE_LEVELS_MA, np.int64) * 1000
    judged_by = np.array([positive.sum(), (~positive).sum()])
    return {
        "halfcycles": placed.halves + pieces.begun,
        "halfcycles_judged": np.where(kept, judged_by[None, :], 0),
        "arcing": np.stack([_number(arcing[:, positive]), _number(arcing[:, ~positive])], axis=1),
        "doubtful_halfcycles": _number(halves.verdict.doubtful & kept),
        "spike_halfcycles": _number(halves.verdict.spike & kept),
        "clipped_halfcycles": _number(halves.clipped & kept),
        "peak_ua": np.maximum(peak_ua.max(axis=1, initial=0), quantised(pieces.peak_ma, UA)),
        "arcing_peak_ua": np.where(arcing, peak_ua, 0).max(axis=1, initial=0),
        "pulses": _number(over),
        "arc_pulses": _number(over & arcing[:, :, None]),
        "first_arc_us": _arc_offset(placed, halves.placed, arcing, first=True),
        "last_arc_us": _arc_offset(placed, halves.placed, arcing, first=False),
    }


def _number(marked: Bools) -> Integers:
    return np.asarray(np.add.reduce(marked, axis=1, dtype=np.int64), np.int64)


def _arc_offset(placed: Placement, halves: Placement, arcing: Bools, *, first: bool) -> Integers:
    """Offset [us] of the begin of the first, or the end of the last, arcing half-cycle."""
    if placed.halves == 0:
        return np.full(len(placed.start), ABSENT, np.int64)
    half_us = (placed.ends - placed.starts) / placed.halves / placed.rate_hz * 1e6
    lead_us = (halves.starts - placed.first) / placed.rate_hz * 1e6
    if first:
        index = np.argmax(arcing, axis=1)
    else:
        index = placed.halves - np.argmax(arcing[:, ::-1], axis=1)
    offset = np.rint(lead_us + index * half_us).astype(np.int64)
    offset = np.clip(offset, 0, placed.stop_us - placed.start_us)
    return np.where(arcing.any(axis=1), offset, ABSENT)


def _totals(
    signal: Signal, halves: _Halves, sums: Sums, pieces: Beside, lost: Bools
) -> dict[str, Integers]:
    """Charge, i-squared-t and energy by polarity; total: of the current's sign, arcing: of the
    half-cycle's."""
    positive = halves.polarity > 0
    columns: dict[str, Integers] = {}
    for name, total, part in (
        ("charge_nc", "charge", pieces.charge),
        ("i2t_pa2s", "square", pieces.square),
        ("energy_uj", "energy", pieces.energy),
    ):
        by_sign = sums.by_polarity(total)
        whole = np.stack([np.add.reduce(one, axis=1) for one in by_sign], axis=1) + part
        arcs = np.where(halves.arcing, getattr(halves.sums, total), 0.0)
        arcs = np.stack(
            [np.add.reduce(arcs[:, side], axis=1) for side in (positive, ~positive)], axis=1
        )
        for column, found in ((name, whole), (f"arcing_{name}", arcs)):
            units = np.where(lost[:, None], 0, quantised(found, MILLI_TO_NANO))
            absent = total == "energy" and signal.voltage is None
            columns[column] = np.full_like(units, ABSENT) if absent else units
    return columns
