"""Windows of several insulators as one stack of rows.

Whatever is computed for a window is computed for all rows of a stack at once; what the insulators
share (the weights of the resampling, their voltage) is computed once for all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from edge.measure.placing import Placement, Signal
from edge.measure.resampling import Taps, grid, resampled, taps_at
from edge.measure.sums import Sums, integrated, joined_sums

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

SUMMED_ROWS = 16
"""Windows summed together; changes nothing in the results."""


@dataclass(frozen=True, slots=True, eq=False)
class Stack:
    """Windows of insulators, one insulator's after the other's, all with as many half-cycles.

    placed: of all rows. owner: which signal each row is of. current: (rows, points) [mA].
    voltages: the distinct voltages [kV], (m, points), None without; voltage_row: the one of each
    row.
    """

    placed: Placement
    owner: Integers
    current: Floats
    voltages: Floats | None
    voltage_row: Integers

    def rows_of(self, index: int) -> slice:
        """The rows of one signal."""
        first, stop = np.searchsorted(self.owner, [index, index + 1]).tolist()
        return slice(first, stop)


def stacked(signals: Sequence[Signal], placements: Sequence[Placement]) -> Stack:
    """The points of every window on the mains clock; all signals with a voltage, or all without."""
    sampling = _Sampling({}, {})
    counts = [len(placed.starts) for placed in placements]
    current = np.concatenate(
        [
            sampling.taken(signal.current, signal, placed, signal.lag_turn)
            for signal, placed in zip(signals, placements, strict=True)
        ]
    )
    owner = np.repeat(np.arange(len(signals)), counts)
    placed = _together(placements)
    if signals[0].voltage is None:
        return Stack(placed, owner, current, None, np.zeros(len(owner), np.int64))
    pairs = zip(signals, placements, strict=True)
    rows = [sampling.voltage_rows(signal, placed) for signal, placed in pairs]
    voltages = np.concatenate([volts for _, volts in sampling.voltages.values()])
    return Stack(placed, owner, current, voltages, np.concatenate(rows))


def summed(stack: Stack, current: Floats) -> Sums:
    """Sums of each half-cycle; a few windows at a time, which stay in the processor's cache."""
    placed = stack.placed
    count, points = current.shape
    step_s = (placed.ends - placed.starts) / (placed.rate_hz * max(1, points))
    parts: list[Sums] = []
    for begin in range(0, max(count, 1), SUMMED_ROWS):
        rows = slice(begin, begin + SUMMED_ROWS)
        part = current[rows]
        shape = (len(part), placed.halves, placed.points)
        volts = None
        if stack.voltages is not None:
            volts = stack.voltages[stack.voltage_row[rows]].reshape(shape)
        parts.append(integrated(part.reshape(shape), volts, step_s[rows, None]))
    return joined_sums(parts)


@dataclass(frozen=True, slots=True, eq=False)
class _Sampling:
    """What has been computed for one stack: taps by placement and turn, voltages with their first
    row by placement, channel and turn."""

    taps: dict[tuple[Placement, float], Taps]
    voltages: dict[tuple[Placement, int, float], tuple[int, Floats]]

    def taken(self, samples: Floats, signal: Signal, placed: Placement, turns: float) -> Floats:
        """One channel read `turns` cycles later, shape (n, points)."""
        count, points = len(placed.starts), placed.halves * placed.points
        if points == 0:
            return np.zeros((count, 0))
        key = (placed, turns)
        if key not in self.taps:
            self.taps[key] = _taps(signal, placed, turns)
        return resampled(samples, self.taps[key]).reshape(count, points)

    def voltage_rows(self, signal: Signal, placed: Placement) -> Integers:
        """Rows of a signal's voltage among the distinct ones."""
        assert signal.voltage is not None
        key = (placed, id(signal.voltage), signal.voltage_turn)
        if key not in self.voltages:
            volts = self.taken(signal.voltage, signal, placed, -signal.voltage_turn)
            first = sum(len(one) for _, one in self.voltages.values())
            self.voltages[key] = (first, volts)
        first, volts = self.voltages[key]
        return first + np.arange(len(volts))


def _taps(signal: Signal, placed: Placement, turns: float) -> Taps:
    """Of the points of each half-cycle, read `turns` cycles later."""
    points = placed.halves * placed.points
    cycle = 2 * (placed.ends - placed.starts) / placed.halves
    positions = grid(placed.starts, placed.ends, points) - signal.kept_from
    return taps_at((positions + (turns * cycle)[:, None]).reshape(-1, placed.points))


def _together(placements: Sequence[Placement]) -> Placement:
    """Placements one after the other."""
    first = placements[0]
    if len(placements) == 1:
        return first

    return replace(
        first,
        starts=np.concatenate([one.starts for one in placements]),
        ends=np.concatenate([one.ends for one in placements]),
        first=np.concatenate([one.first for one in placements]),
        stop=np.concatenate([one.stop for one in placements]),
        start=np.concatenate([one.start for one in placements]),
        start_us=np.concatenate([one.start_us for one in placements]),
        stop_us=np.concatenate([one.stop_us for one in placements]),
    )
