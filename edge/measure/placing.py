"""What one insulator delivers, and where its windows lie in it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from edge.measure.plan import Calibration

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Signal:
    """What one insulator delivers, in samples from position `kept_from` of the segment on.

    current [mA]: merged from its ranges, calibrated. voltage [kV] or None, read `voltage_turn`
    cycles earlier than the insulator's own. polarity: sign of the voltage in the first half-cycle
    of each window. lag_turn: cycles by which the sensor delays. low_ma, high_ma: the converter's
    ends. fine_ma: full scale of the fine range. flags: bits that hold for the whole segment.
    """

    current: Floats
    voltage: Floats | None
    kept_from: int
    polarity: int
    voltage_turn: float
    lag_turn: float
    low_ma: float
    high_ma: float
    fine_ma: float
    voltage_level_kv: float
    nominal_kv: float | None
    flags: int
    calibration: Calibration


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """Where windows lie, positions in samples from the segment's start.

    starts, ends: the cycles of each window, shape (n,). first, stop: the whole samples it covers,
    beyond the cycles where a segment begins or ends. halves: half-cycles of each.
    points: of a half-cycle on the mains clock. cycles: whole cycles, 0 where it is short.
    """

    starts: Floats
    ends: Floats
    first: Integers
    stop: Integers
    start: Integers
    start_us: Integers
    stop_us: Integers
    halves: int
    points: int
    cycles: int
    rate_hz: float
    nominal_hz: int

    @property
    def half_samples(self) -> float:
        """Length of a half-cycle in samples; nominal where no half-cycle is whole."""
        if self.halves:
            return float((self.ends[0] - self.starts[0]) / self.halves)
        return self.rate_hz / self.nominal_hz / 2


def turned(placed: Placement, turns: Floats) -> Placement:
    """The same windows with their half-cycles `turns` cycles later, shape (n,)."""
    cycle = 2 * (placed.ends - placed.starts) / placed.halves
    shift = turns * cycle
    return replace(placed, starts=placed.starts + shift, ends=placed.ends + shift)
