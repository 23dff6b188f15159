"""A segment: consecutive samples between two ten-minute ticks or gaps, and the windows in it.

A segment knows nothing of what came before it. Windows follow each other without overlap; the first
takes in the samples before the first whole cycle, the last those after the last one.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from edge.measure.aligning import Axis
from edge.measure.cutting import utc_us_at
from edge.measure.flags import flag_bits
from edge.measure.linking import Ranges, anchor, ranges_of, voltages_of
from edge.measure.mains_clock import (
    ANCHOR_S,
    cycle_positions,
    extended,
    final_position,
    track_trimmed,
)
from edge.measure.plan import Calibration, MeasurePlan
from edge.measure.referencing import cell_samples, divided, last_window, looked_after
from edge.measure.resampling import points_per_cycle
from edge.measure.scaling import NOWHERE, scaled
from edge.measure.segment_state import Segment
from edge.measure.segment_windows import measured_windows
from edge.measure.windows import WindowTable, joined
from edge.quantities import Flag
from edge.samples import SampleBlock, SignalDescription, TimeAnchor

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

HOLD_CYCLES = 2.5
"""A window is measured once so many further cycles are there: should the segment end then, what is
left is a cycle or more even for an insulator that lags, and does not belong to this window."""

LAG_CYCLES_MAX = 0.5
"""An insulator's windows begin so much after the clock's at most; so far it must be final."""


def opened(
    plan: MeasurePlan, description: SignalDescription, start: int, anchor_: TimeAnchor, flags: int
) -> Segment:
    """An empty segment that begins with sample `start`."""
    pad = 8 + points_per_cycle(description.rate_hz, plan.nominal_hz)
    currents = np.zeros((len(plan.insulators), 0))
    voltages = np.zeros((len(voltages_of(description)), 0))
    axes = tuple(Axis() for _ in plan.insulators)
    none = (NOWHERE,) * (len(currents) + len(voltages))
    first = flags & flag_bits(Flag.GAP)  # only the first window has lost samples beside it
    return Segment(
        start,
        anchor_,
        flags & ~first,
        pad,
        None,
        0,
        currents,
        voltages,
        odd=none,
        absent=none,
        axes=axes,
        first_flags=first,
        calibrated=start,
    )


def taken_in(
    plan: MeasurePlan, description: SignalDescription, segment: Segment, block: SampleBlock
) -> Segment:
    """The segment with further samples, scaled."""
    found = scaled(description, _scales(plan, description, segment), block)
    at = segment.length
    return replace(
        segment,
        currents=np.concatenate([segment.currents, found.currents], axis=1),
        voltages=np.concatenate([segment.voltages, found.voltages], axis=1),
        odd=_with(segment.odd, found.odd, at),
        absent=_with(segment.absent, found.absent, at),
    )


def _with(
    before: tuple[Integers, ...], fresh: tuple[Integers, ...], at: int
) -> tuple[Integers, ...]:
    """Positions of each row, and those found in a block that begins at position `at`."""
    pairs = zip(before, fresh, strict=True)
    return tuple(np.concatenate([one, at + other]) if len(other) else one for one, other in pairs)


def _scales(
    plan: MeasurePlan, description: SignalDescription, segment: Segment
) -> list[tuple[Ranges, Calibration]]:
    """Ranges and calibration of each insulator, which hold for the whole segment."""
    if segment.found is not None:
        return [(link.ranges, link.calibration) for link in segment.found.links]
    start_us = utc_us_at(segment.anchor, description.rate_hz, segment.calibrated)
    return [(ranges_of(description, one), one.calibration_at(start_us)) for one in plan.insulators]


def advanced(
    plan: MeasurePlan, description: SignalDescription, segment: Segment, ended: bool
) -> tuple[Segment, list[WindowTable | None]]:
    """Measures every window that is ready; the tables come in the order of the insulators."""
    none: list[WindowTable | None] = [None] * len(plan.insulators)
    if segment.length == 0:
        return segment, none
    if segment.found is None:
        if segment.length < round(description.rate_hz * ANCHOR_S) and not ended:
            return segment, none
        segment = _anchored(plan, description, segment)
    before = segment.found
    segment = looked_after(plan, description, _clocked(segment, ended))
    if segment.found is before and not ended:
        return segment, none
    ready = _ready_windows(plan, segment)
    if segment.changed_at:
        number, at = last_window(plan, segment)
        if at is not None:
            return _anew(plan, description, segment, at, ended)
        ready = min(ready, number - segment.next_window)
    if ready == 0 and not ended:
        return segment, none
    if ended:
        segment = _mirrored(segment, after=True)
    tables, axes = measured_windows(plan, description, segment, ready, ended)
    segment = replace(segment, axes=axes)
    return _trimmed(plan, description, segment, segment.next_window + ready), tables


def _anew(
    plan: MeasurePlan, description: SignalDescription, segment: Segment, at: int, ended: bool
) -> tuple[Segment, list[WindowTable | None]]:
    """Ends the segment at position `at` and goes on with another one from there."""
    before, after = divided(segment, at)
    first, _ = measured_windows(plan, description, _mirrored(before, after=True), 0, ended=True)
    after, then = advanced(plan, description, after, ended)
    parts = [[one for one in pair if one is not None] for pair in zip(first, then, strict=True)]
    return after, [joined(part) if part else None for part in parts]


def _anchored(plan: MeasurePlan, description: SignalDescription, segment: Segment) -> Segment:
    start_us = utc_us_at(segment.anchor, description.rate_hz, segment.calibrated)
    calibrations = tuple(one.calibration_at(start_us) for one in plan.insulators)
    found = anchor(plan, description, segment.currents, segment.voltages, calibrations)
    return _mirrored(replace(segment, found=found), after=False)


def _mirrored(segment: Segment, *, after: bool) -> Segment:
    """With `pad` samples turned about the end sample, so that the interpolation has neighbours."""
    pad = segment.pad

    def turned(rows: Floats) -> Floats:
        if rows.shape[0] == 0:
            return np.zeros((0, rows.shape[1] + pad))
        known = rows[:, ::-1] if after else rows
        reach = min(pad, rows.shape[1] - 1)
        mirror = 2 * known[:, :1] - known[:, 1 : reach + 1]
        mirror = np.pad(mirror, ((0, 0), (0, pad - reach)), mode="edge" if reach else "constant")
        return np.concatenate([rows, mirror] if after else [mirror[:, ::-1], rows], axis=1)

    kept_from = segment.kept_from if after else segment.kept_from - pad
    return replace(
        segment,
        kept_from=kept_from,
        currents=turned(segment.currents),
        voltages=turned(segment.voltages),
    )


def _clocked(segment: Segment, ended: bool) -> Segment:
    found = segment.found
    assert found is not None
    rows = len(segment.voltages)
    row = found.reference
    reference = segment.voltages[row] if row < rows else segment.currents[row - rows]
    fresh = reference[found.clock.next_block * found.clock.hop - segment.kept_from :]
    if len(fresh) < 2 * found.clock.hop and not ended:
        return segment  # not yet a whole block of the clock
    clock = extended(found.clock, fresh, ended)
    return replace(segment, found=replace(found, clock=clock))


def _ready_windows(plan: MeasurePlan, segment: Segment) -> int:
    """Whole windows that nothing later can change."""
    found = segment.found
    assert found is not None
    cycles, hop = plan.window_cycles, found.clock.hop
    final, length = final_position(found.clock), segment.length
    count = max(0, int(min(final, length) / (hop * cycles)) + 2 - segment.next_window)
    ends = cycle_positions(found.clock, cycles * (segment.next_window + 1), count, cycles)
    told = (ends + LAG_CYCLES_MAX * hop <= final) & (ends + HOLD_CYCLES * hop <= length)
    return int(np.sum(told))


def due_at(plan: MeasurePlan, description: SignalDescription, segment: Segment) -> int:
    """Sample counter before which no further window can be measured, as far as is known now.

    To come back later than that would only make a result late, never another one.
    """
    found = segment.found
    if found is None:
        return segment.start + round(description.rate_hz * ANCHOR_S)
    cycles, hop = plan.window_cycles, found.clock.hop
    (end,) = cycle_positions(found.clock, cycles * (segment.next_window + 1), 1, 1)
    until = max(float(end) + HOLD_CYCLES * hop, segment.length + 1.0)
    return segment.start + math.ceil(until)


def _trimmed(
    plan: MeasurePlan, description: SignalDescription, segment: Segment, next_window: int
) -> Segment:
    """Without samples and phases that no later window reads."""
    found = segment.found
    assert found is not None
    start = float(cycle_positions(found.clock, plan.window_cycles * next_window, 1, 1)[0])
    clock = track_trimmed(found.clock, start)
    keep = min(int(start) - segment.pad, clock.next_block * clock.hop)
    if len(segment.voltages):  # the half second that is looked at next
        keep = min(keep, segment.checked_to or cell_samples(description))
    drop = max(0, keep - segment.kept_from)
    first = segment.kept_from + drop
    return replace(
        segment,
        found=replace(found, clock=clock),
        kept_from=first,
        currents=segment.currents[:, drop:],
        voltages=segment.voltages[:, drop:],
        odd=tuple(one[one >= first] if len(one) else one for one in segment.odd),
        absent=tuple(one[one >= first] if len(one) else one for one in segment.absent),
        next_window=next_window,
    )
