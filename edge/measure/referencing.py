"""Whether what a segment is measured against still holds: a voltage that goes, or comes back.

Told for each half second from the segment's start. Where it has changed, the segment ends with the
window that is open then, and the next begins with what is there.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from edge.measure.linking import reference_of
from edge.measure.mains_clock import ANCHOR_S, VANISHED_RATIO, cycle_positions, final_position
from edge.measure.plan import MeasurePlan
from edge.measure.segment_state import Segment
from edge.samples import SignalDescription

Floats = npt.NDArray[np.float64]


def looked_after(plan: MeasurePlan, description: SignalDescription, segment: Segment) -> Segment:
    """With every further whole half second looked at, up to the first that has changed."""
    length = cell_samples(description)
    if len(segment.voltages) == 0 or segment.changed_at:
        return segment
    begin = segment.checked_to or length  # the first half second is the anchor
    while begin + length <= segment.length:
        cell = slice(begin - segment.kept_from, begin + length - segment.kept_from)
        begin += length
        if _changed(plan, description, segment, cell):
            return replace(segment, checked_to=begin, changed_at=begin)
    return replace(segment, checked_to=begin)


def cell_samples(description: SignalDescription) -> int:
    """Samples that are looked at together."""
    return round(description.rate_hz * ANCHOR_S)


def _changed(
    plan: MeasurePlan, description: SignalDescription, segment: Segment, cell: slice
) -> bool:
    """Whether the segment would not be linked to the same kind of reference today.

    Where the line is dead and no current flows there is nothing to measure against: the voltage is
    waited for.
    """
    found = segment.found
    assert found is not None
    if found.clock.locked:
        own = segment.voltages[found.reference, cell]
        if _crest(own) >= VANISHED_RATIO * found.clock.level:
            return False
        voltages = np.nan_to_num(segment.voltages[:, cell])
        if _crest(voltages[found.reference]) >= VANISHED_RATIO * found.clock.level:
            return False
        currents = np.nan_to_num(segment.currents[:, cell])
        clock, _ = reference_of(plan, description, currents, voltages)
        return clock.found and (clock.locked or clock.level > np.sqrt(2.0) * plan.limits.gone_ma)
    voltages = np.nan_to_num(segment.voltages[:, cell])
    if not voltages.any():
        return False
    return reference_of(plan, description, voltages[:0], voltages)[0].found


def _crest(samples: Floats) -> float:
    """Crest of a sine of the same r.m.s.; NaN where samples are."""
    return float(np.sqrt(2.0 * np.add.reduce(np.square(samples)) / len(samples)))


def last_window(plan: MeasurePlan, segment: Segment) -> tuple[int, int | None]:
    """(number of the last window by the old reference, position of its end, None: not yet there).

    The window that is open when the change is seen.
    """
    found, cycles = segment.found, plan.window_cycles
    assert found is not None
    number = segment.next_window
    while True:
        (end,) = cycle_positions(found.clock, cycles * (number + 1), 1, 1)
        if end >= segment.changed_at:
            break
        number += 1
    there = end <= final_position(found.clock) and round(end) <= segment.length
    return number, round(end) if there else None


def divided(segment: Segment, at: int) -> tuple[Segment, Segment]:
    """The segment up to but without position `at`, and a new one from there on.

    What is scaled stays scaled: both have the calibrations of the first.
    """
    place = at - segment.kept_from
    before = replace(
        segment, currents=segment.currents[:, :place], voltages=segment.voltages[:, :place]
    )
    after = replace(
        segment,
        start=segment.start + at,
        found=None,
        kept_from=0,
        currents=segment.currents[:, place:],
        voltages=segment.voltages[:, place:],
        odd=tuple(one[one >= at] - at for one in segment.odd),
        absent=tuple(one[one >= at] - at for one in segment.absent),
        next_window=0,
        axes=tuple(type(one)() for one in segment.axes),
        first_flags=0,
        checked_to=0,
        changed_at=0,
    )
    return before, after
