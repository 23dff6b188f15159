"""Our measure as a judge: `--judge tests.families.judging:ours`.

Windows come from the measure's own table. Half-cycles with their probabilities are no part of it,
so this listens at the one place where they are judged.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np

from edge.measure import measuring, stepping
from edge.measure.plan import Calibration, InsulatorPlan, MeasurePlan, SensorRange
from edge.measure.windows import WindowTable
from edge.quantities import STATES
from tests.families.labelled import Bools, Floats, Recording
from tests.families.outcome import (
    ARCING,
    DOUBTFUL,
    NOT_ARCING,
    HalfcycleOutcome,
    Outcome,
    WindowOutcome,
)


@dataclass(frozen=True, slots=True, eq=False)
class Heard:
    """Half-cycles of one call: positions [samples of the segment], sign, and what was judged.

    figures: of `edge.measure.shape`, shape (n, halves, figures). usable: windows without loss.
    """

    start: Floats
    end: Floats
    polarity: Floats
    probability: Floats
    arcing: Bools
    doubtful: Bools
    charge_c: Floats
    figures: Floats
    usable: Bools


def plan_of(recording: Recording) -> MeasurePlan:
    """The one insulator of a recording, with its ranges and its calibration, if any."""
    channels = recording.description.channels
    two = len(recording.ranges) > 1
    ranges = tuple(
        SensorRange(
            channel=channels[column].name,
            full_scale_ma=_full_scale(recording, column) if two else None,
        )
        for column in recording.ranges
    )
    dry = recording.dry_phasor_ma
    calibrations = (
        ()
        if dry is None
        else (Calibration(id="given", dry_ma=abs(dry), dry_deg=float(np.degrees(np.angle(dry)))),)
    )
    first = channels[recording.ranges[0]]
    volts = None if recording.voltage is None else channels[recording.voltage]
    return MeasurePlan(
        nominal_hz=int(recording.description.nominal_hz),
        insulators=(
            InsulatorPlan(id="one", ranges=ranges, phase=first.phase, calibrations=calibrations),
        ),
        voltage_channel=None if volts is None else volts.name,
        voltage_phase="" if volts is None else volts.phase,
    )


def _full_scale(recording: Recording, column: int) -> float:
    channel = recording.description.channels[column]
    assert channel.raw_min is not None
    assert channel.raw_max is not None
    return abs(channel.gain) * min(abs(channel.raw_min), abs(channel.raw_max))


@contextmanager
def listening() -> Iterator[list[Heard]]:
    """Everything that is judged while the block runs, in order."""
    heard: list[Heard] = []
    plain = measuring._halves

    def halves(*asked: object) -> measuring._Halves:
        found = plain(*asked)  # type: ignore[arg-type]
        heard.append(_heard(found, asked[-1]))  # type: ignore[arg-type]
        return found

    measuring._halves = halves  # type: ignore[assignment]
    try:
        yield heard
    finally:
        measuring._halves = plain


def _heard(found: measuring._Halves, lost: Bools) -> Heard:
    placed = found.placed
    number = np.arange(placed.halves)
    length = ((placed.ends - placed.starts) / max(1, placed.halves))[:, None]
    # a counter and a position of the same sample: what lies between them is the segment's start
    start = (placed.start - placed.first)[:, None] + placed.starts[:, None] + number * length
    return Heard(
        start,
        start + length,
        np.broadcast_to(found.polarity, start.shape),
        found.verdict.probability,
        found.arcing,
        found.verdict.doubtful,
        found.sums.charge / 1e3,
        found.verdict.figures,
        ~lost,
    )


def heard_and_tables(recording: Recording) -> tuple[list[Heard], list[WindowTable]]:
    """All that the measure says of a recording."""
    state = stepping.initial(plan_of(recording), recording.description)
    tables: list[WindowTable] = []
    with listening() as heard:
        for item in recording.items():
            state, found = stepping.step(state, item)
            tables += [table for _, table in found.windows]
    return heard, tables


def ours(recording: Recording) -> Outcome:
    """The measure's outcome for a recording."""
    heard, tables = heard_and_tables(recording)
    return Outcome(_windows(recording, tables), _halfcycles(heard))


def _flat(parts: list[Floats]) -> Floats:
    return np.concatenate([part.ravel() for part in parts]) if parts else np.zeros(0)


def _halfcycles(heard: list[Heard]) -> HalfcycleOutcome:
    verdict = [
        np.where(one.arcing, ARCING, np.where(one.doubtful, DOUBTFUL, NOT_ARCING)) for one in heard
    ]
    return HalfcycleOutcome(
        _flat([one.start for one in heard]),
        _flat([one.end for one in heard]),
        _flat([one.probability * one.usable[:, None] for one in heard]),
        _flat(verdict).astype(np.int8),
        _flat([one.polarity for one in heard]).astype(np.int8),
        _flat([one.charge_c for one in heard]),
    )


def _windows(recording: Recording, tables: list[WindowTable]) -> WindowOutcome:
    rate_hz = recording.description.rate_hz
    start = _flat([table.start for table in tables]).astype(np.float64)
    length = _flat([table.duration_us for table in tables]) * rate_hz / 1e6
    arcing = np.concatenate([table.arcing for table in tables])
    charge_nc = np.concatenate([table.arcing_charge_nc for table in tables]).sum(axis=1)
    return WindowOutcome(
        start,
        start + np.rint(length),
        tuple(STATES[index] for table in tables for index in table.state.tolist()),
        _flat([table.halfcycles for table in tables]).astype(np.float64),
        arcing[:, 0].astype(np.float64),
        arcing[:, 1].astype(np.float64),
        _flat([table.doubtful_halfcycles for table in tables]).astype(np.float64),
        _flat([table.spike_halfcycles for table in tables]).astype(np.float64),
        charge_nc / 1e9,
    )
