"""Which channels make an insulator's signal, and how it stands to the mains clock.

Decided once at the start of each segment, from the segment's first half second.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.measure.flags import flag_bits
from edge.measure.mains_clock import ANCHOR_S, Clock, anchored, coasting, phasors
from edge.measure.plan import UNCALIBRATED, Calibration, InsulatorPlan, MeasurePlan
from edge.quantities import Flag
from edge.samples import Channel, ChannelKind, SignalDescription

Floats = npt.NDArray[np.float64]

BLEND_FROM = 0.80
BLEND_TO = 0.95
"""Shares of the fine range's full scale between which the coarse range takes over smoothly."""

FINE_USED_TO = 0.95
"""Above this share of the fine full scale the coarse range alone speaks."""

PHASE_ORDER = {"A": 0, "B": 1, "C": 2, "L1": 0, "L2": 1, "L3": 2, "R": 0, "S": 1, "T": 2}
"""Conductors in order of rotation, as they are usually named (common practice)."""

PASSIVE_FROM_RAD = np.radians(-15.0)
"""A passive surface's current leads its own voltage by this to 120 degrees more; one of the three
phases of a system fits, whatever the declared phase says."""


@dataclass(frozen=True, slots=True)
class Ranges:
    """Columns of an insulator's ranges and what brings them to primary mA.

    fine, coarse: column numbers (the same where there is one range). low_ma, high_ma: the
    converter's ends on the coarse range. fine_ma: full scale of the fine range, inf without one.
    """

    fine: int
    coarse: int
    low_ma: float
    high_ma: float
    fine_ma: float


@dataclass(frozen=True, slots=True)
class Link:
    """How one insulator stands to the clock within a segment.

    voltage: row of the voltage signal, -1 without. cycle_offset: its windows begin so many cycles
    after the clock's. polarity: sign of its voltage in the first half-cycle of a window.
    voltage_turn: the voltage row is read this many cycles earlier, `voltage_sign` times.
    """

    ranges: Ranges
    calibration: Calibration
    voltage: int
    cycle_offset: float
    polarity: int
    voltage_turn: float
    voltage_sign: int
    voltage_level_kv: float
    flags: int


def column(description: SignalDescription, name: str) -> int:
    """Column of a channel by name; it is checked when settings meet the source."""
    return [channel.name for channel in description.channels].index(name)


def ranges_of(description: SignalDescription, insulator: InsulatorPlan) -> Ranges:
    """Columns and converter ends of an insulator; ranges come from fine to coarse."""
    fine, coarse = insulator.ranges[0], insulator.ranges[-1]
    channel = description.channels[column(description, coarse.channel)]
    low_ma, high_ma = converter_ends(channel, coarse.full_scale_ma)
    has_two = fine.channel != coarse.channel and fine.full_scale_ma is not None
    return Ranges(
        column(description, fine.channel),
        column(description, coarse.channel),
        low_ma,
        high_ma,
        fine.full_scale_ma if has_two and fine.full_scale_ma else float("inf"),
    )


def converter_ends(channel: Channel, full_scale_ma: float | None) -> tuple[float, float]:
    """(lowest, highest) value at which a sample counts as clipped; infinite where unknown."""
    ends = [
        float("inf") if raw is None else raw * channel.gain + channel.offset
        for raw in (channel.raw_min, channel.raw_max)
    ]
    low, high = -float("inf"), float("inf")
    if channel.raw_min is not None and channel.raw_max is not None:
        low, high = min(ends), max(ends)
    if full_scale_ma is not None:
        low, high = max(low, -full_scale_ma), min(high, full_scale_ma)
    step = abs(channel.gain) / 2
    return low + step, high - step


def voltages_of(description: SignalDescription) -> list[int]:
    """Columns of the voltage channels."""
    return [i for i, c in enumerate(description.channels) if c.kind is ChannelKind.VOLTAGE]


def merged(fine: Floats, coarse: Floats, fine_ma: float) -> Floats:
    """One current of two ranges: fine while it is well within its scale, blended into coarse."""
    if not np.isfinite(fine_ma):
        return fine
    span = (BLEND_TO - BLEND_FROM) * fine_ma
    share = np.clip((BLEND_TO * fine_ma - np.abs(coarse)) / span, 0.0, 1.0)
    return np.asarray(share * fine + (1.0 - share) * coarse, np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Anchoring:
    """The clock of a segment, the row it follows, and the links of all insulators."""

    clock: Clock
    reference: int
    links: tuple[Link, ...]


def anchor(
    plan: MeasurePlan,
    description: SignalDescription,
    currents: Floats,
    voltages: Floats,
    calibrations: tuple[Calibration, ...],
) -> Anchoring:
    """Finds the mains in a segment's first samples.

    currents: shape (insulators, n) [mA]; voltages: (voltage channels, n) [kV]. The reference row
    counts voltages first, then currents. Missing samples (NaN) are taken as zero here.
    """
    length = round(description.rate_hz * ANCHOR_S)
    currents = np.nan_to_num(currents[:, :length], posinf=0.0, neginf=0.0)
    voltages = np.nan_to_num(voltages[:, :length], posinf=0.0, neginf=0.0)
    clock, reference = reference_of(plan, description, currents, voltages)
    links = tuple(
        _link(plan, description, index, currents, voltages, clock, reference, calibration)
        for index, calibration in enumerate(calibrations)
    )
    return Anchoring(clock, reference, links)


def reference_of(
    plan: MeasurePlan, description: SignalDescription, currents: Floats, voltages: Floats
) -> tuple[Clock, int]:
    """The clock of some samples without NaN, and the row that it follows."""
    names = [description.channels[i].name for i in voltages_of(description)]
    order = sorted(range(len(names)), key=lambda row: names[row] != plan.voltage_channel)
    for row in order:
        clock = anchored(voltages[row], description.rate_hz, plan.nominal_hz, locked=True)
        if clock.found:
            return clock, row
    clocks = [anchored(row, description.rate_hz, plan.nominal_hz, locked=False) for row in currents]
    best = max(range(len(clocks)), key=lambda row: clocks[row].level, default=-1)
    if best >= 0 and clocks[best].found:
        return clocks[best], len(names) + best
    return coasting(description.rate_hz, plan.nominal_hz), 0


def _angle(samples: Floats, clock: Clock) -> tuple[float, float]:
    """(angle [rad], amplitude) of the fundamental over the anchor, at the segment's start."""
    seen = phasors(samples, 0, clock.hop, clock.block_hz, clock.rate_hz)
    if len(seen) == 0:
        return 0.0, 0.0
    middle = complex(np.mean(seen))
    return float(np.angle(middle)), abs(middle)


def _link(
    plan: MeasurePlan,
    description: SignalDescription,
    index: int,
    currents: Floats,
    voltages: Floats,
    clock: Clock,
    reference: int,
    calibration: Calibration,
) -> Link:
    insulator = plan.insulators[index]
    ranges = ranges_of(description, insulator)
    flags = 0 if clock.found else flag_bits(Flag.NO_FREQUENCY)
    if calibration is UNCALIBRATED or calibration.dry_ma is None:
        flags |= flag_bits(Flag.NO_DRY_PHASOR)
    angle, _ = _angle(currents[index], clock)
    if not (clock.locked and clock.found):
        flags |= flag_bits(Flag.NO_REFERENCE)
        if len(voltages):
            flags |= flag_bits(Flag.REFERENCE_DOUBTFUL)
        return Link(ranges, calibration, -1, 0.0, 1, 0.0, 1, 0.0, flags)
    row, sixths = _own_voltage(plan, description, index, reference, angle, voltages, clock)
    volts_angle, level = _angle(voltages[row], clock)
    reference_angle, _ = _angle(voltages[reference], clock)
    lag = (reference_angle - volts_angle) / (2 * np.pi) + sixths / 6
    offset, polarity = _to_zero(lag)
    # a third of a cycle earlier is a sixth later, turned over
    turn, sign = {0: (0.0, 1), 2: (-1 / 6, -1), 4: (1 / 6, -1)}[sixths]
    level_kv = plan.nominal_kv or level / np.sqrt(2.0)
    return Link(ranges, calibration, row, offset, polarity, turn, sign, level_kv, flags)


def _to_zero(lag_cycles: float) -> tuple[float, int]:
    """(cycles in [0, 1/2) to the first zero, sign of what follows it)."""
    halves = round(lag_cycles * 2e6) / 1e6
    offset = halves % 1.0
    if offset > 1.0 - 1e-3:
        offset -= 1.0
    return offset / 2, -1 if round(halves - offset) % 2 else 1


def _own_voltage(
    plan: MeasurePlan,
    description: SignalDescription,
    index: int,
    reference: int,
    angle: float,
    voltages: Floats,
    clock: Clock,
) -> tuple[int, int]:
    """(row of the voltage, sixths of a cycle by which the insulator's own lags behind it)."""
    phase = plan.insulators[index].phase
    rows = voltages_of(description)
    declared = [description.channels[i].phase for i in rows]
    if phase and phase in declared:
        return declared.index(phase), 0
    other = declared[reference]
    if phase not in PHASE_ORDER or other not in PHASE_ORDER or phase == other:
        return reference, 0
    lead = angle - _angle(voltages[reference], clock)[0]
    for sixths in (0, 2, 4):
        turned = (lead + sixths * np.pi / 3 - PASSIVE_FROM_RAD) % (2 * np.pi)
        if turned < 2 * np.pi / 3:
            return reference, sixths
    raise AssertionError("three thirds of a turn cover it")
