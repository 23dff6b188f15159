"""The pieces of a window beside its whole half-cycles: where a segment begins or ends.

They are covered, so their charge, energy and peak count; they are not judged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.measure.placing import Placement, Signal
from edge.measure.sums import Sums, integrated

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Beside:
    """Per window: half-cycles begun in the pieces, highest sample [mA], cover [s], and sums over
    time by polarity, each of shape (n, 2): charge, square, energy."""

    begun: Integers
    peak_ma: Floats
    seconds: Floats
    charge: Floats
    square: Floats
    energy: Floats


def beside(signals: Sequence[Signal], owner: Integers, placed: Placement) -> Beside:
    """What lies beside the whole half-cycles of each window, `owner` of which is whose signal."""
    count = len(placed.first)
    starts = np.rint(placed.starts).astype(np.int64)
    ends = np.rint(placed.ends).astype(np.int64)
    found = Beside(
        np.zeros(count, np.int64),
        np.zeros(count),
        (starts - placed.first + placed.stop - ends) / placed.rate_hz,
        *(np.zeros((count, 2)) for _ in range(3)),
    )
    for index in np.flatnonzero((placed.first != starts) | (placed.stop != ends)).tolist():
        lead = slice(int(placed.first[index]), int(starts[index]))
        tail = slice(int(ends[index]), int(placed.stop[index]))
        found.begun[index] = _begun(placed, index)
        for piece in (lead, tail):
            _add_piece(found, index, signals[int(owner[index])], placed, piece)
    return found


def _begun(placed: Placement, index: int) -> int:
    """Voltage zeros before the first and from the end of the last whole half-cycle."""
    half = placed.half_samples
    if placed.halves:
        half = float((placed.ends[index] - placed.starts[index]) / placed.halves)
    before = placed.starts[index] - half * np.arange(1, 4)
    after = placed.ends[index] + half * np.arange(4)
    return int(
        np.sum(np.rint(before) >= placed.first[index]) + np.sum(np.rint(after) < placed.stop[index])
    )


def _add_piece(found: Beside, index: int, signal: Signal, placed: Placement, piece: slice) -> None:
    kept = slice(piece.start - signal.kept_from, piece.stop - signal.kept_from)
    part = signal.current[kept]
    if len(part) == 0 or not np.isfinite(part).all():
        return
    volts = None if signal.voltage is None else signal.voltage[kept]
    sums: Sums = integrated(part, volts, np.array(1.0 / placed.rate_hz))
    found.peak_ma[index] = max(found.peak_ma[index], float(np.abs(part).max()))
    found.charge[index] += sums.by_polarity("charge")
    found.square[index] += sums.by_polarity("square")
    found.energy[index] += sums.by_polarity("energy")
