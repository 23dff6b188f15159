"""A segment: consecutive samples between two ten-minute ticks or gaps, and the windows in it.

A segment knows nothing of what came before it. Windows follow each other without overlap; the first
takes in the samples before the first whole cycle, the last those after the last one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from edge.measure.aligning import Axis
from edge.measure.cutting import utc_us, utc_us_at
from edge.measure.flags import flag_bits
from edge.measure.linking import Anchoring, Link, anchor, merged, ranges_of, voltages_of
from edge.measure.mains_clock import (
    ANCHOR_S,
    cycle_positions,
    extended,
    final_position,
    track_trimmed,
)
from edge.measure.measuring import measured
from edge.measure.placing import Placement, Signal
from edge.measure.plan import MeasurePlan
from edge.measure.resampling import points_per_cycle
from edge.measure.windows import WindowTable, joined
from edge.quantities import Flag
from edge.samples import SignalDescription, TimeAnchor

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

HOLD_CYCLES = 1.5
"""A window is measured once so many further cycles are known, in case the segment ends with it."""

BATCH_WINDOWS = 16
"""Windows computed together; bounds the memory, and changes nothing in the results."""


@dataclass(frozen=True, slots=True, eq=False)
class Segment:
    """State of one segment.

    start: sample counter of its first sample. anchor: how its counters stand to UTC.
    flags: bits for all its windows; first_flags: for the first alone. found: clock and links, once
    known. pad: samples mirrored before the first and after the last for the interpolation.
    kept_from: position of the first kept sample. currents, voltages: kept samples, shape
    (insulators, n) and (voltages, n). next_window: number of the first window not yet measured.
    axes: see `aligning`.
    """

    start: int
    anchor: TimeAnchor
    flags: int
    pad: int
    found: Anchoring | None
    kept_from: int
    currents: Floats
    voltages: Floats
    next_window: int = 0
    axes: tuple[Axis, ...] = ()
    first_flags: int = 0

    @property
    def length(self) -> int:
        """Samples taken in so far."""
        return self.kept_from + int(self.currents.shape[1])


def opened(
    plan: MeasurePlan, description: SignalDescription, start: int, anchor_: TimeAnchor, flags: int
) -> Segment:
    """An empty segment that begins with sample `start`."""
    pad = 8 + points_per_cycle(description.rate_hz, plan.nominal_hz)
    currents = np.zeros((len(plan.insulators), 0))
    voltages = np.zeros((len(voltages_of(description)), 0))
    axes = tuple(Axis() for _ in plan.insulators)
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
        axes=axes,
        first_flags=first,
    )


def scaled(
    plan: MeasurePlan,
    description: SignalDescription,
    segment: Segment,
    samples: npt.NDArray[np.generic],
    missing: npt.NDArray[np.bool_] | None,
) -> tuple[Floats, Floats]:
    """(currents [mA], voltages [kV]) of raw rows; NaN where missing or not finite."""

    def channel(index: int) -> Floats:
        one = description.channels[index]
        taken = samples[:, index].astype(np.float64) * one.gain + one.offset
        taken[~np.isfinite(taken)] = np.nan
        if missing is not None:
            taken[missing[:, index]] = np.nan
        return np.asarray(taken, np.float64)

    start_us = utc_us_at(segment.anchor, description.rate_hz, segment.start)
    currents = np.empty((len(plan.insulators), len(samples)))
    for row, insulator in enumerate(plan.insulators):
        ranges, calibration = ranges_of(description, insulator), insulator.calibration_at(start_us)
        coarse = channel(ranges.coarse)
        if ranges.fine != ranges.coarse:
            coarse = merged(channel(ranges.fine), coarse, ranges.fine_ma)
        currents[row] = coarse * calibration.gain + calibration.offset_ma
    voltages = [channel(index) for index in voltages_of(description)]
    return currents, np.array(voltages) if voltages else np.zeros((0, len(samples)))


def taken_in(segment: Segment, currents: Floats, voltages: Floats) -> Segment:
    """The segment with further samples."""
    return replace(
        segment,
        currents=np.concatenate([segment.currents, currents], axis=1),
        voltages=np.concatenate([segment.voltages, voltages], axis=1),
    )


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
    segment = _clocked(segment, ended)
    ready = _ready_windows(plan, segment)
    if ready == 0 and not ended:
        return segment, none
    if ended:
        segment = _mirrored(segment, after=True)
    tables: list[WindowTable | None] = []
    axes: list[Axis] = []
    for row in range(len(plan.insulators)):
        table, axis = _insulator_table(plan, description, segment, row, ready, ended)
        tables.append(table)
        axes.append(axis)
    segment = replace(segment, axes=tuple(axes))
    return _trimmed(plan, segment, segment.next_window + ready), tables


def _anchored(plan: MeasurePlan, description: SignalDescription, segment: Segment) -> Segment:
    start_us = utc_us_at(segment.anchor, description.rate_hz, segment.start)
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
    clock = extended(found.clock, fresh, ended)
    return replace(segment, found=replace(found, clock=clock))


def _ready_windows(plan: MeasurePlan, segment: Segment) -> int:
    """Whole windows after which HOLD_CYCLES are known and final."""
    found = segment.found
    assert found is not None
    known = min(final_position(found.clock), segment.length)
    cycles, hold = plan.window_cycles, found.clock.hop * HOLD_CYCLES
    count = max(0, int(known / (found.clock.hop * cycles)) + 2 - segment.next_window)
    ends = cycle_positions(found.clock, cycles * (segment.next_window + 1), count, cycles)
    return int(np.sum(ends + hold <= known))


def _insulator_table(
    plan: MeasurePlan,
    description: SignalDescription,
    segment: Segment,
    row: int,
    ready: int,
    ended: bool,
) -> tuple[WindowTable | None, Axis]:
    """Windows of one insulator that are ready (at the end: all that is left), and its axis."""
    found = segment.found
    assert found is not None
    link = found.links[row]
    cycles = plan.window_cycles
    total = segment.length - (segment.pad if ended else 0)
    whole, halves = ready, 0
    if ended:
        whole, halves = _remaining(segment, link, cycles, total)
    first = cycles * segment.next_window + link.cycle_offset
    starts = cycle_positions(found.clock, first, whole + 1, cycles)
    signal = _signal(plan, segment, link, row)
    tables = []
    axis = segment.axes[row]
    for begin in range(0, whole, BATCH_WINDOWS):
        stop = min(begin + BATCH_WINDOWS, whole)
        is_last = ended and halves == 0 and stop == whole
        placed = _placed(
            plan,
            description,
            segment,
            starts[begin : stop + 1],
            segment.next_window + begin,
            2 * cycles,
            total if is_last else None,
        )
        table, axis = measured(signal, placed, plan.limits, axis)
        tables.append(table)
    if ended and (halves or not whole):
        end = cycle_positions(found.clock, first + cycles * whole + halves / 2, 1, 1)
        edges = np.concatenate([starts[whole:], end])
        placed = _placed(
            plan, description, segment, edges, segment.next_window + whole, halves, total
        )
        table, axis = measured(signal, placed, plan.limits, axis)
        tables.append(table)
    return (_first_flagged(segment, joined(tables)) if tables else None), axis


def _first_flagged(segment: Segment, table: WindowTable) -> WindowTable:
    if segment.next_window or not segment.first_flags:
        return table
    first = np.arange(len(table)) == 0
    return replace(table, flags=table.flags | np.where(first, segment.first_flags, 0))


def _remaining(segment: Segment, link: Link, cycles: int, total: int) -> tuple[int, int]:
    """(whole windows, half-cycles of a short one) left to a segment's end of `total` samples.

    Less than a whole cycle after the last window belongs to that window.
    """
    found = segment.found
    assert found is not None
    span = int(total / found.clock.hop) + 3
    first = cycles * segment.next_window + link.cycle_offset
    zeros = cycle_positions(found.clock, first, 2 * span, 0.5)
    halves = max(0, int(np.sum(np.rint(zeros) <= total)) - 1)
    whole, rest = divmod(halves, 2 * cycles)
    if rest < 2 and whole:
        rest = 0
    return whole, rest


def _placed(
    plan: MeasurePlan,
    description: SignalDescription,
    segment: Segment,
    edges: Floats,
    number: int,
    halves: int,
    total: int | None,
) -> Placement:
    """Placement of windows between consecutive `edges`, the first being window `number`."""
    starts, ends = edges[:-1], edges[1:]
    first = np.rint(starts).astype(np.int64)
    stop = np.rint(ends).astype(np.int64)
    if number == 0:
        first[0] = 0
    if total is not None:
        stop[-1] = total
    points = points_per_cycle(description.rate_hz, plan.nominal_hz) // 2
    rate_hz = description.rate_hz
    return Placement(
        starts=starts,
        ends=ends,
        first=first,
        stop=stop,
        start=first + segment.start,
        start_us=utc_us(segment.anchor, rate_hz, first + segment.start),
        stop_us=utc_us(segment.anchor, rate_hz, stop + segment.start),
        halves=halves,
        points=points,
        cycles=plan.window_cycles if halves == 2 * plan.window_cycles else 0,
        rate_hz=rate_hz,
        nominal_hz=plan.nominal_hz,
    )


def _signal(plan: MeasurePlan, segment: Segment, link: Link, row: int) -> Signal:
    voltage = None if link.voltage < 0 else segment.voltages[link.voltage]
    if voltage is not None and link.voltage_sign < 0:
        voltage = -voltage
    calibration = link.calibration
    ends = sorted(
        end * calibration.gain + calibration.offset_ma
        for end in (link.ranges.low_ma, link.ranges.high_ma)
    )
    return Signal(
        current=segment.currents[row],
        voltage=voltage,
        kept_from=segment.kept_from,
        polarity=link.polarity,
        voltage_turn=link.voltage_turn,
        lag_turn=calibration.lag_deg / 360.0,
        low_ma=ends[0],
        high_ma=ends[1],
        fine_ma=link.ranges.fine_ma * abs(calibration.gain),
        voltage_level_kv=link.voltage_level_kv,
        nominal_kv=plan.nominal_kv,
        flags=segment.flags | link.flags,
        calibration=calibration,
    )


def _trimmed(plan: MeasurePlan, segment: Segment, next_window: int) -> Segment:
    """Without samples and phases that no later window reads."""
    found = segment.found
    assert found is not None
    start = float(cycle_positions(found.clock, plan.window_cycles * next_window, 1, 1)[0])
    clock = track_trimmed(found.clock, start)
    keep = min(int(start) - segment.pad, clock.next_block * clock.hop)
    drop = max(0, keep - segment.kept_from)
    return replace(
        segment,
        found=replace(found, clock=clock),
        kept_from=segment.kept_from + drop,
        currents=segment.currents[:, drop:],
        voltages=segment.voltages[:, drop:],
        next_window=next_window,
    )
