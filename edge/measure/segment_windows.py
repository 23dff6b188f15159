"""The windows of a segment that are ready, measured for all insulators at once."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from edge.measure.aligning import Axis
from edge.measure.cutting import utc_us
from edge.measure.linking import Link
from edge.measure.mains_clock import cycle_positions
from edge.measure.measuring import measured
from edge.measure.placing import Placement, Signal
from edge.measure.plan import MeasurePlan
from edge.measure.resampling import points_per_cycle
from edge.measure.segment_state import Segment
from edge.measure.spoiling import spoilt
from edge.measure.windows import WindowTable, joined
from edge.samples import SignalDescription

Floats = npt.NDArray[np.float64]

BATCH_ROWS = 192
"""Windows computed together, those of all insulators counted; bounds the memory and keeps it in the
processor's cache, and changes nothing in the results."""


def measured_windows(
    plan: MeasurePlan, description: SignalDescription, segment: Segment, ready: int, ended: bool
) -> tuple[list[WindowTable | None], tuple[Axis, ...]]:
    """Tables of the windows that are ready (at the end: of all that is left), and the axes."""
    parts: list[list[WindowTable]] = [[] for _ in plan.insulators]
    axes = list(segment.axes)
    for together in _groups(plan, segment, ready, ended):
        for stretch in _stretches(plan, together):
            placements: dict[float, Placement] = {}
            for each in together.rows:
                offset = segment.link(each).cycle_offset
                if offset not in placements:
                    placements[offset] = _placed(plan, description, segment, offset, stretch)
            found = measured(
                together.signals,
                [placements[segment.link(each).cycle_offset] for each in together.rows],
                plan.limits,
                [axes[each] for each in together.rows],
            )
            for each, (table, axis) in zip(together.rows, found, strict=True):
                parts[each].append(table)
                axes[each] = axis
    tables: list[WindowTable | None] = []
    for row, part in enumerate(parts):
        if not part:
            tables.append(None)
            continue
        whole = _first_flagged(segment, joined(part))
        tables.append(spoilt(description.rate_hz, segment, row, whole))
    return tables, tuple(axes)


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """Insulators that can be measured together. rows: their numbers. whole: windows; halves:
    half-cycles of a short one after them, None: there is none. total: samples, at the end only."""

    rows: tuple[int, ...]
    signals: tuple[Signal, ...]
    whole: int
    halves: int | None
    total: int | None


def _groups(plan: MeasurePlan, segment: Segment, ready: int, ended: bool) -> list[_Group]:
    total = segment.length - segment.pad if ended else None
    left = [
        _remaining(plan, segment, segment.link(row), total) if total is not None else (ready, None)
        for row in range(len(plan.insulators))
    ]
    signals = _signals(plan, segment)
    alike: dict[tuple[int, bool, int, int | None], list[int]] = {}
    for row, (whole, halves) in enumerate(left):
        key = (signals[row].polarity, signals[row].voltage is None, whole, halves)
        alike.setdefault(key, []).append(row)
    return [
        _Group(tuple(rows), tuple(signals[row] for row in rows), whole, halves, total)
        for (_, _, whole, halves), rows in alike.items()
    ]


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Windows `begin` to `stop` of those that are left; halves: half-cycles of each.
    total: samples of the segment, where it ends with them."""

    begin: int
    stop: int
    halves: int
    total: int | None


def _stretches(plan: MeasurePlan, group: _Group) -> Iterator[_Stretch]:
    cycles = plan.window_cycles
    batches = -(-group.whole * len(group.rows) // BATCH_ROWS)
    edges = [group.whole * number // max(batches, 1) for number in range(batches + 1)]
    for begin, stop in itertools.pairwise(edges):
        is_last = group.halves is None and stop == group.whole
        yield _Stretch(begin, stop, 2 * cycles, group.total if is_last else None)
    if group.halves is not None:
        yield _Stretch(group.whole, group.whole + 1, group.halves, group.total)


def _first_flagged(segment: Segment, table: WindowTable) -> WindowTable:
    if segment.next_window or not segment.first_flags:
        return table
    first = np.arange(len(table)) == 0
    return replace(table, flags=table.flags | np.where(first, segment.first_flags, 0))


def _remaining(
    plan: MeasurePlan, segment: Segment, link: Link, total: int
) -> tuple[int, int | None]:
    """(whole windows, half-cycles of a short one) left to a segment's end of `total` samples.

    Less than a whole cycle after the last window belongs to that window: there is no short one.
    """
    found, cycles = segment.found, plan.window_cycles
    assert found is not None
    span = int(total / found.clock.hop) + 3
    first = cycles * segment.next_window + link.cycle_offset
    zeros = cycle_positions(found.clock, first, 2 * span, 0.5)
    halves = max(0, int(np.sum(np.rint(zeros) <= total)) - 1)
    whole, rest = divmod(halves, 2 * cycles)
    return whole, None if whole and rest < 2 else rest


def _placed(
    plan: MeasurePlan,
    description: SignalDescription,
    segment: Segment,
    cycle_offset: float,
    stretch: _Stretch,
) -> Placement:
    """Placement of a stretch of windows for insulators of this offset against the clock."""
    number, halves, total = segment.next_window + stretch.begin, stretch.halves, stretch.total
    edges = _edges(plan, segment, cycle_offset, stretch)
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


def _edges(plan: MeasurePlan, segment: Segment, cycle_offset: float, stretch: _Stretch) -> Floats:
    """Positions at which the windows of a stretch begin, and at which the last one ends."""
    found, cycles = segment.found, plan.window_cycles
    assert found is not None
    first = cycles * (segment.next_window + stretch.begin) + cycle_offset
    if stretch.halves == 2 * cycles:
        return cycle_positions(found.clock, first, stretch.stop - stretch.begin + 1, cycles)
    return cycle_positions(found.clock, first, 2, stretch.halves / 2)


def _signals(plan: MeasurePlan, segment: Segment) -> list[Signal]:
    """Of all insulators; those with the same voltage have the same array."""
    voltages: dict[tuple[int, int], Floats] = {}
    signals = []
    for row in range(len(plan.insulators)):
        link = segment.link(row)
        key = (link.voltage, link.voltage_sign)
        if link.voltage >= 0 and key not in voltages:
            volts = segment.voltages[link.voltage]
            voltages[key] = -volts if link.voltage_sign < 0 else volts
        signals.append(_signal(plan, segment, link, row, voltages.get(key)))
    return signals


def _signal(
    plan: MeasurePlan, segment: Segment, link: Link, row: int, voltage: Floats | None
) -> Signal:
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
