"""Waveforms cut out of the raw rows of a segment, with what is needed to read them alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from edge.measure.cutting import utc_us_at
from edge.measure.linking import ranges_of
from edge.measure.plan import Calibration, InsulatorPlan, MeasurePlan
from edge.measure.raw_rows import CapturedWaveform, RawRows, Trigger
from edge.samples import ChannelKind, SignalDescription, TimeAnchor

LEAD_CYCLES = 0.125
"""Rows before the first window, so that its first zero is found again; too few to shift it."""

TRAIL_CYCLES = 0.25
"""Rows after the last window; less than a cycle belongs to that window."""


class Window(NamedTuple):
    """What is looked at of one window. start, stop: counters. state: index into STATES."""

    start: int
    stop: int
    start_us: int
    duration_us: int
    arcs: int
    first_arc_us: int
    last_arc_us: int
    arcing_peak_ua: int
    peak_ua: int
    clipped: int
    live: int
    state: int
    flags: int


@dataclass(frozen=True, slots=True)
class Wanted:
    """A waveform asked for. begin: counter of its first window; stop: after its last so far.

    due_us: it is released with the minute row that reaches this. flags: bits of its windows.
    """

    trigger: Trigger
    begin: int
    stop: int
    trigger_counter: int
    due_us: int
    peak_ua: int
    flags: int


@dataclass(frozen=True, slots=True, eq=False)
class Cutter:
    """The rows at hand of one insulator. segment_start: counter; anchor: in force there."""

    plan: MeasurePlan
    description: SignalDescription
    insulator: InsulatorPlan
    segment_start: int
    anchor: TimeAnchor
    rows: RawRows

    def counter_at(self, window: Window, offset_us: int) -> int:
        """Counter of the first row at or after an offset in a window."""
        return window.start + int(-(-offset_us * self.description.rate_hz // 1e6))

    def crest_at(self, window: Window) -> int:
        """Counter of the highest absolute current of a window."""
        column = ranges_of(self.description, self.insulator).coarse
        codes, _ = self.rows.cut(window.start, window.stop, (column,))
        channel, calibration = self.description.channels[column], self._calibration()
        current = codes[:, 0].astype(np.float64) * channel.gain + channel.offset
        size = np.abs(current * calibration.gain + calibration.offset_ma)
        return window.start + int(np.argmax(np.where(np.isfinite(size), size, -1.0)))

    def captured(self, wanted: Wanted) -> CapturedWaveform:
        """The rows themselves, with a little before and after."""
        cycle = self.description.rate_hz / self.plan.nominal_hz
        start = max(self.segment_start, wanted.begin - round(LEAD_CYCLES * cycle))
        stop = min(self.rows.stop, wanted.stop + round(TRAIL_CYCLES * cycle))
        columns = self._columns()
        samples, missing = self.rows.cut(start, stop, columns)
        return CapturedWaveform(
            insulator=self.insulator.id,
            trigger=wanted.trigger,
            trigger_counter=wanted.trigger_counter,
            counter=start,
            samples=samples,
            missing=missing,
            description=self._described(columns),
            anchor=self.anchor,
            calibration=self._calibration(),
            peak_ua=wanted.peak_ua,
            flags=wanted.flags,
        )

    def _calibration(self) -> Calibration:
        start_us = utc_us_at(self.anchor, self.description.rate_hz, self.segment_start)
        return self.insulator.calibration_at(start_us)

    def _columns(self) -> tuple[int, ...]:
        """Of the ranges, and of the voltage of the same phase, else of the reference."""
        channels = self.description.channels
        ranges = ranges_of(self.description, self.insulator)
        volts = [i for i, one in enumerate(channels) if one.kind is ChannelKind.VOLTAGE]
        own = [i for i in volts if channels[i].phase == self.insulator.phase != ""]
        reference = [i for i in volts if channels[i].name == self.plan.voltage_channel]
        return tuple(dict.fromkeys([ranges.fine, ranges.coarse, *(own or reference)[:1]]))

    def _described(self, columns: tuple[int, ...]) -> SignalDescription:
        """The channels cut out; a current has the phase that the plan gives its insulator."""
        channels = [self.description.channels[index] for index in columns]
        phase = self.insulator.phase
        phased = (
            replace(one, phase=phase or one.phase) if one.kind is ChannelKind.CURRENT else one
            for one in channels
        )
        return replace(self.description, channels=tuple(phased))
