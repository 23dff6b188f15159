"""Why windows lack samples: no numbers in the feed, or absent by the source's own word."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from edge.measure.flags import flag_bits
from edge.measure.resampling import TAPS
from edge.measure.scaling import NOWHERE
from edge.measure.segment_state import Segment
from edge.measure.windows import WindowTable
from edge.quantities import Flag

Integers = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

MISSING, NOT_FINITE = flag_bits(Flag.MISSING), flag_bits(Flag.NOT_FINITE)
DOUBTFUL = flag_bits(Flag.REFERENCE_DOUBTFUL)


def spoilt(rate_hz: float, segment: Segment, row: int, table: WindowTable) -> WindowTable:
    """The windows of insulator number `row`, each saying what kind of sample it lacks.

    Where its voltage lacks samples the current is measured all the same, and the reference is in
    doubt.
    """
    voltage = segment.link(row).voltage
    odd, absent = segment.odd[row], segment.absent[row]
    volts = (NOWHERE, NOWHERE)
    if voltage >= 0:
        at = len(segment.currents) + voltage
        volts = (segment.odd[at], segment.absent[at])
    if not any(len(one) for one in (odd, absent, *volts)):
        return table
    assert segment.found is not None
    reach = segment.found.clock.hop + TAPS
    first = table.start - segment.start
    stop = first + np.rint(table.duration_us * (rate_hz / 1e6)).astype(np.int64)
    # what is computed for a window may rest on a neighbour's samples, within the reach of the
    # interpolation and of half-cycles that are turned
    lost = (table.flags & MISSING) != 0
    no_number, gone = (
        _touched(one, first, stop, np.where(lost, reach, 0)) for one in (odd, absent)
    )
    doubt = np.any([_touched(one, first, stop, np.zeros_like(first)) for one in volts], axis=0)
    flags = np.where(lost & no_number & ~gone, table.flags & ~MISSING, table.flags)
    for mask, bits in ((no_number, NOT_FINITE), (gone, MISSING), (doubt, DOUBTFUL)):
        flags |= np.where(mask, bits, 0)
    return replace(table, flags=flags)


def _touched(places: Integers, first: Integers, stop: Integers, reach: Integers) -> Bools:
    """Windows that hold one of some places, or have one within reach."""
    before = np.searchsorted(places, first - reach)
    return np.asarray(np.searchsorted(places, stop + reach) > before, np.bool_)
