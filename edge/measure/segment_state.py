"""What is carried of a segment: consecutive samples between two ten-minute ticks or gaps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.measure.aligning import Axis
from edge.measure.linking import Anchoring, Link
from edge.samples import SampleBlock, TimeAnchor

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Segment:
    """State of one segment.

    start: sample counter of its first sample. anchor: how its counters stand to UTC.
    flags: bits for all its windows; first_flags: for the first alone. found: clock and links, once
    known. pad: samples mirrored before the first and after the last for the interpolation.
    kept_from: position of the first kept sample. currents, voltages: kept samples, shape
    (insulators, n) and (voltages, n). odd, absent: positions within them of samples that are not
    finite, and of those that the source says are missing, of each insulator, then of each voltage.
    next_window: number of the first window not yet measured.
    axes: see `aligning`. waiting: blocks that have come but are not taken in yet, as nothing can be
    measured before sample counter `due`. calibrated: sample counter whose time chose the
    calibrations. checked_to: position up to which the reference has been looked after; changed_at:
    at which it was seen to have changed, 0: it has not.
    """

    start: int
    anchor: TimeAnchor
    flags: int
    pad: int
    found: Anchoring | None
    kept_from: int
    currents: Floats
    voltages: Floats
    odd: tuple[Integers, ...] = ()
    absent: tuple[Integers, ...] = ()
    next_window: int = 0
    axes: tuple[Axis, ...] = ()
    first_flags: int = 0
    waiting: tuple[SampleBlock, ...] = ()
    due: int = 0
    calibrated: int = 0
    checked_to: int = 0
    changed_at: int = 0

    @property
    def length(self) -> int:
        """Samples taken in so far."""
        return self.kept_from + int(self.currents.shape[1])

    def link(self, row: int) -> Link:
        """How insulator number `row` stands to the clock, which must be known."""
        assert self.found is not None
        return self.found.links[row]
