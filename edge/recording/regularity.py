"""The rate of a recording that declares none: its time stamps must be regular."""

from __future__ import annotations

import math

import numpy as np

from edge.recording.ascii_rows import AsciiRows
from edge.recording.binary_rows import BinaryRows
from edge.recording.faults import RecordingError
from edge.recording.model import Header

ROWS_EACH = 1 << 16
"""Stamps looked at together; no influence on the result."""


def stamped_rate_hz(rows: BinaryRows | AsciiRows, header: Header) -> float:
    """Sampling rate [Hz] from the stamps, each within half a sample of its place.

    A whole number of hertz is taken where the resolution of the stamps cannot tell it apart.
    """
    (first_number, first_stamp), (last_number, last_stamp) = _ends(rows)
    steps, span_ns = last_number - first_number, (last_stamp - first_stamp) * header.stamp_ns
    if not (steps > 0 and span_ns > 0 and math.isfinite(span_ns)):
        raise _irregular(rows.name, f"{rows.count} rows over {span_ns:g} ns by their stamps")
    period = (last_stamp - first_stamp) / steps
    row = 0
    for number, stamp in rows.stamps(ROWS_EACH):
        deviation = np.abs(stamp - first_stamp - (number - first_number) * period)
        bad = np.flatnonzero(~(deviation <= period / 2))
        if bad.size:
            index = int(bad[0])
            raise _irregular(rows.place(row + index), f"time stamp {stamp[index]:.10g}")
        row += number.size
    rate_hz = steps / span_ns * 1e9
    uncertainty_hz = rate_hz * header.stamp_ns / span_ns
    return float(round(rate_hz)) if abs(rate_hz - round(rate_hz)) <= uncertainty_hz else rate_hz


def _ends(rows: BinaryRows | AsciiRows) -> tuple[tuple[float, float], tuple[float, float]]:
    """Number and stamp of the first and of the last row."""
    first: tuple[float, float] | None = None
    last = (math.nan, math.nan)
    for number, stamp in rows.stamps(ROWS_EACH):
        first = first or (float(number[0]), float(stamp[0]))
        last = (float(number[-1]), float(stamp[-1]))
    return first or last, last


def _irregular(where: str, found: str) -> RecordingError:
    return RecordingError(
        where,
        f"no sampling rate is declared, and {found} is not regular",
        "stamps within half a sample of an even spacing",
        "declare the sampling rate or resample the record",
    )
