"""From samples to the window tables of some insulators: a fixed computation for each window.

Every window is computed from its own points by operations that never mix windows, so that it does
not matter how many are computed together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.measure.aligning import Axis, aligned
from edge.measure.arcing import Verdict, judged
from edge.measure.beside import Beside, beside
from edge.measure.explaining import Reference
from edge.measure.flags import BITS
from edge.measure.placing import Placement, Signal, turned
from edge.measure.plan import MeasureLimits
from edge.measure.stacking import Stack, stacked, summed
from edge.measure.sums import Sums, extremes
from edge.measure.surface import Seen, state_columns
from edge.measure.waveform import energised, spectral, waveform_columns
from edge.measure.windows import ABSENT, WindowTable, quantised
from edge.quantities import PULSE_LEVELS_MA, Flag

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

REVERSED_POWER_MIN = 0.25
"""Share of the apparent power that flows backwards when a sensor's leads are reversed; a neighbour
that tilts a capacitive current stays well below. Design choice."""

GONE_RATIO = 0.02
"""Below this share of its level in service none of the voltage is left: a window in which a line is
switched holds more. Design choice."""

UA = 1e3
"""Microamperes in a milliampere."""

MILLI_TO_NANO = MILLI_TO_MICRO2 = JOULE_TO_MICRO = 1e6
"""mC to nC, mA2 s to pA2 s, J to uJ."""


def measured(
    signals: Sequence[Signal],
    placements: Sequence[Placement],
    limits: MeasureLimits,
    axes: Sequence[Axis],
) -> list[tuple[WindowTable, Axis]]:
    """The windows of each signal at its placement, and its axis where no voltage is.

    All placements have as many half-cycles; all signals have the same polarity, and a voltage or
    none.
    """
    stack = stacked(signals, placements)
    placed, lost = stack.placed, _lost(stack.current)
    current = _blanked(stack.current, lost)
    sums = summed(stack, current)
    axes = list(axes)
    if signals[0].voltage is None and placed.halves >= 2:
        half_stack, axes = _realigned(signals, placements, stack, current, axes)
        lost = lost | _lost(half_stack.current)
        by_half = _blanked(half_stack.current, lost)
        half_sums = summed(half_stack, by_half)
        halves = _halves(signals, half_stack, by_half, half_sums, lost)
    else:
        halves = _halves(signals, stack, current, sums, lost)
    pieces = beside(signals, stack.owner, placed)
    lines = spectral(current, stack.voltages, stack.voltage_row, placed)
    level_kv = np.array([one.voltage_level_kv for one in signals])[stack.owner]
    on = energised(lines, level_kv, limits)
    known = np.array([not s.flags & BITS[Flag.NO_FREQUENCY] for s in signals])[stack.owner]
    columns = {
        "start": placed.start,
        "start_us": placed.start_us,
        "duration_us": placed.stop_us - placed.start_us,
        **_counts(placed, halves, pieces, lost),
        **_totals(halves, sums, pieces, lost, powered=stack.voltages is not None),
        **waveform_columns(placed, sums, pieces, lines, on, known, lost),
    }
    seen = Seen(*(signals, stack.owner, placed, limits, lines, on, lost, halves.span), columns)
    columns |= state_columns(seen)
    if stack.voltages is not None:
        _unreferenced(columns, on, level_kv, lost)
    parts = [stack.rows_of(index) for index in range(len(signals))]
    tables = [WindowTable(**{n: column[part] for n, column in columns.items()}) for part in parts]
    return list(zip(tables, axes, strict=True))


def _unreferenced(columns: dict[str, Integers], on: Bools, level_kv: Floats, lost: Bools) -> None:
    """A current that flows while its voltage is down: there is no reference, and no energy where
    none of the voltage is left."""
    down = ~on & ~lost & (columns["live"] != 0)
    columns["flags"][down] |= BITS[Flag.NO_REFERENCE]
    gone = down & (columns["voltage_mv"] < GONE_RATIO * level_kv * 1e6)
    for name in ("energy_uj", "arcing_energy_uj"):
        columns[name][gone] = ABSENT


def _realigned(
    signals: Sequence[Signal],
    placements: Sequence[Placement],
    stack: Stack,
    current: Floats,
    axes: Sequence[Axis],
) -> tuple[Stack, list[Axis]]:
    """The half-cycles where the arcs say that they lie, and each signal's axis."""
    turned_all: list[Placement] = []
    found: list[Axis] = []
    for index, (placed, axis) in enumerate(zip(placements, axes, strict=True)):
        turns, after = aligned(current[stack.rows_of(index)], placed.halves, axis)
        turned_all.append(turned(placed, turns))
        found.append(after)
    return stacked(signals, turned_all), found


def _lost(current: Floats) -> Bools:
    """Rows with a missing sample."""
    return np.asarray(~np.isfinite(np.add.reduce(current, axis=-1)), np.bool_)


def _blanked(current: Floats, lost: Bools) -> Floats:
    """Zero in the rows that are lost."""
    return np.where(lost[:, None], 0.0, current) if lost.any() else current


@dataclass(frozen=True, slots=True, eq=False)
class _Halves:
    """The half-cycles of some windows, as they are judged; arrays of shape (n, halves).

    polarity: sign of the current where it flows with the voltage. arcing: verdict, none where
    samples are lost. peaks [mA]; clipped: at the converter's end; sums: of each half-cycle.
    span [mA]: of the samples of all half-cycles, (n,).
    """

    placed: Placement
    polarity: Floats
    verdict: Verdict
    arcing: Bools
    peaks: Floats
    clipped: Bools
    sums: Sums
    span: Floats


def _halves(
    signals: Sequence[Signal],
    stack: Stack,
    current: Floats,
    sums: Sums,
    lost: Bools,
) -> _Halves:
    placed = stack.placed
    polarity = signals[0].polarity * np.where(np.arange(placed.halves) % 2, -1.0, 1.0)
    shape = (len(current), placed.halves, placed.points)
    leads = _leads(sums, stack)
    upright = current.reshape(shape)
    if (leads < 0).any():
        upright = upright * leads[:, None, None]
    reference = None
    if stack.voltages is not None:
        distinct = stack.voltages.reshape(-1, placed.halves, placed.points)
        reference = Reference(distinct, stack.voltage_row)
    points_per_s = 2.0 * placed.points * placed.nominal_hz
    verdict = judged(upright, reference, polarity, points_per_s)
    polarity = leads[:, None] * polarity
    high, low = _extremes(signals, stack)
    clipped = (high >= _of_each(stack, [one.high_ma for one in signals])) | (
        low <= _of_each(stack, [one.low_ma for one in signals])
    )
    span = high.max(axis=1, initial=-np.inf) - low.min(axis=1, initial=np.inf)
    arcing = verdict.arcing & ~lost[:, None]
    peaks = np.maximum(high, -low)
    return _Halves(placed, polarity, verdict, arcing, peaks, clipped, sums, span)


def _of_each(stack: Stack, figures: Sequence[float]) -> Floats:
    """A figure of each signal at the rows of its windows, shape (n, 1)."""
    return np.array(figures)[stack.owner][:, None]


def _leads(sums: Sums, stack: Stack) -> Floats:
    """-1 for windows in which power flows out of the insulator: the sensor's leads are reversed."""
    placed, volts = stack.placed, stack.voltages
    if volts is None:
        return np.ones(len(sums.charge))
    power = np.add.reduce(sums.energy, axis=1)
    step_s = (placed.ends - placed.starts) / (placed.rate_hz * max(1, volts.shape[1]))
    volts_square = np.add.reduce(np.square(volts), axis=1)[stack.voltage_row] * step_s
    apparent = np.sqrt(np.add.reduce(sums.square, axis=1) * volts_square)
    return np.where(power < -REVERSED_POWER_MIN * apparent, -1.0, 1.0)


def _extremes(signals: Sequence[Signal], stack: Stack) -> tuple[Floats, Floats]:
    """(highest, lowest) sample [mA] of each half-cycle, (n, halves)."""
    placed = stack.placed
    count, halves = len(placed.starts), placed.halves
    if halves == 0:
        return np.zeros((count, 0)), np.zeros((count, 0))
    share = np.arange(halves) / halves
    inner = np.rint(placed.starts[:, None] + (placed.ends - placed.starts)[:, None] * share)
    edges = np.concatenate([inner, np.rint(placed.ends)[:, None]], axis=1).astype(np.int64)
    high, low = np.empty((count, halves)), np.empty((count, halves))
    for index, signal in enumerate(signals):
        rows = stack.rows_of(index)
        high[rows], low[rows] = extremes(signal.current, edges[rows] - signal.kept_from)
    return high, low


def _counts(placed: Placement, halves: _Halves, pieces: Beside, lost: Bools) -> dict[str, Integers]:
    """Columns that count half-cycles, and the peaks behind the counts."""
    kept = ~lost[:, None]
    positive, arcing = halves.polarity > 0, halves.arcing
    # a half-cycle that is whole counts, though its window is not judged
    peak_ua = quantised(np.where(np.isfinite(halves.peaks), halves.peaks, 0.0), UA)
    over = peak_ua[:, :, None] > np.array(PULSE_LEVELS_MA, np.int64) * 1000
    return {
        "halfcycles": placed.halves + pieces.begun,
        "halfcycles_judged": _by_side(np.broadcast_to(kept, positive.shape), positive),
        "arcing": _by_side(arcing, positive),
        "arcing_bits": np.asarray(arcing @ (1 << np.arange(placed.halves, dtype=np.int64))),
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


def _by_side(marked: Bools, positive: Bools) -> Integers:
    """Marks of positive and of negative half-cycles, shape (n, 2)."""
    return np.stack([_number(marked & positive), _number(marked & ~positive)], axis=1)


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
    halves: _Halves, sums: Sums, pieces: Beside, lost: Bools, *, powered: bool
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
        by_half = getattr(halves.sums, total)
        arcs = np.stack(
            [
                np.add.reduce(np.where(halves.arcing & side, by_half, 0.0), axis=1)
                for side in (positive, ~positive)
            ],
            axis=1,
        )
        for column, found in ((name, whole), (f"arcing_{name}", arcs)):
            units = np.where(lost[:, None], 0, quantised(found, MILLI_TO_NANO))
            absent = total == "energy" and not powered
            columns[column] = np.full_like(units, ABSENT) if absent else units
    return columns
