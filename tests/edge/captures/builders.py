"""Waveforms and minute rows for choosing among, and signals that make them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from edge.measure.plan import UNCALIBRATED
from edge.measure.raw_rows import CapturedWaveform, Trigger
from edge.records import IntervalRow
from edge.samples import AnchorSource, TimeAnchor
from tests.edge.decide.builders import START_US, interval
from tests.edge.measure.builders import describe

RATE_HZ = 4_800.0
DAY_S = 86_400


def at(second: float) -> TimeAnchor:
    """Sample 0 was taken at this second of the first day."""
    return TimeAnchor(0, START_US * 1000 + round(second * 1e6) * 1000, 1_000, AnchorSource.GNSS)


def waveform(
    trigger: Trigger,
    second: float,
    peak_ua: int = 1_000,
    *,
    rows: int = 2_880,
    seed: int = 1,
    insulator: str = "I1",
) -> CapturedWaveform:
    """Noise in 16-bit codes, triggered in its middle at `second` of the first day."""
    codes = np.random.default_rng(seed).integers(-20_000, 20_000, (rows, 2), dtype=np.int16)
    return CapturedWaveform(
        insulator=insulator,
        trigger=trigger,
        trigger_counter=rows // 2,
        counter=0,
        samples=codes,
        missing=None,
        description=describe(RATE_HZ),
        anchor=at(second - rows / 2 / RATE_HZ),
        calibration=UNCALIBRATED,
        peak_ua=peak_ua,
        flags=0,
    )


def row_at(second: float, *, arcs: bool = False) -> IntervalRow:
    """The minute row that holds this second, with an arc at it or none."""
    start_s = second // 60 * 60
    last_us = round((second - start_s) * 1e6) if arcs else None
    return replace(interval(start_s, insulator="I1"), first_arc_us=last_us, last_arc_us=last_us)
