"""Where the voltage's zeros lie when no voltage is measured: told by the arcs themselves.

A steady current says nothing of it: it may lead by anything from 0 (wet) to 90 degrees (dry). But
an arc's current is in phase with the voltage, some degrees late. So the cycles that deviate from
the median cycle point to it, along the axis of their deviation; where none deviates, the median
cycle itself is taken, which is right as soon as arcs or film outweigh the capacitance. The axis is
remembered from window to window.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

MEMORY = 0.8
"""Weight that the axis found before keeps in each further window."""

LATE_TURN = 10.0 / 360.0
"""Cycles by which an arc's fundamental usually lags the voltage. Design choice."""

DEVIATION_RATIO_MIN = 0.3
"""Deviations below this share of the median cycle are the film's unrest, or arcs whose ignition
shifts a little: these point to the place of ignition, well ahead of the axis. Design choice."""

DEVIATION_MA_MIN = 0.15
"""And so are deviations of a cycle's fundamental below this peak."""

AHEAD_MAX = np.radians(60.0)
"""An arc's axis points no further ahead of the total current than this, else backwards."""


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """What is remembered: the sum of squared deviations, whose angle is twice the axis'."""

    moment: complex = 0j


def aligned(current: Floats, halves: int, axis: Axis) -> tuple[Floats, Axis]:
    """(cycles in [-1/4, 3/4) after each window's start at which the voltage rises, new axis).

    current: windows [mA] on the mains clock, shape (n, points), `halves` half-cycles each, two or
    more; an odd one at the end is left out.
    """
    even = current.shape[1] // halves * (halves - halves % 2)
    by_cycle = current[:, :even].reshape(len(current), halves // 2, -1)
    angle = 2 * np.pi * np.arange(by_cycle.shape[-1]) / by_cycle.shape[-1]
    turn = np.exp(-1j * angle) * 2j / by_cycle.shape[-1]
    each: Complexes = np.add.reduce(by_cycle * turn, axis=-1)
    middle = np.median(each.real, axis=1) + 1j * np.median(each.imag, axis=1)
    deviation = each - middle[:, None]
    floor = np.maximum(DEVIATION_RATIO_MIN * np.abs(middle), DEVIATION_MA_MIN)
    told = np.abs(deviation) > floor[:, None]
    moments = np.add.reduce(np.where(told, deviation, 0.0) ** 2, axis=1)
    turns = np.empty(len(current))
    kept = axis.moment
    for index, (moment, total) in enumerate(zip(moments.tolist(), middle.tolist(), strict=True)):
        kept = MEMORY * kept + moment
        turns[index] = _rise(kept, total)
    return turns, Axis(kept)


def _rise(moment: complex, total: complex) -> float:
    """Cycles after the window's start at which the voltage rises through zero."""
    ahead = float(np.angle(total))
    if abs(moment) > 0.0:
        half = float(np.angle(moment)) / 2
        away = (half - ahead - AHEAD_MAX) % np.pi + AHEAD_MAX - np.pi
        ahead = ahead + away
    rise = -ahead / (2 * np.pi) - LATE_TURN
    return (rise + 0.25) % 1.0 - 0.25
