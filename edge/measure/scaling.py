"""Raw rows of all channels brought to mA and kV, and where they are no measurements."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.measure.linking import Ranges, merged, voltages_of
from edge.measure.plan import Calibration
from edge.samples import SampleBlock, SignalDescription

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

CURRENT_MA_MAX = 1e5
"""Beyond 100 A a sample is no leakage current but a wrong scale or a broken record, and a minute of
it would not fit into a record's sums: it is taken as not finite. Design choice."""

VOLTAGE_KV_MAX = 1e4
"""The same for a voltage beyond 10 MV."""

NOWHERE: Integers = np.zeros(0, np.int64)


@dataclass(frozen=True, slots=True, eq=False)
class Scaled:
    """Rows of one block; NaN where a sample is no measurement.

    currents [mA]: (insulators, n). voltages [kV]: (voltages, n). odd, absent: rows at which a
    sample is not finite, and at which the source says that it is missing, rising; one array for
    each insulator, then one for each voltage.
    """

    currents: Floats
    voltages: Floats
    odd: tuple[Integers, ...]
    absent: tuple[Integers, ...]


def scaled(
    description: SignalDescription,
    scales: Sequence[tuple[Ranges, Calibration]],
    block: SampleBlock,
) -> Scaled:
    """The rows of a block; scales: ranges and calibration of each insulator."""
    count = len(block.samples)
    rows = voltages_of(description)
    currents, voltages = np.empty((len(scales), count)), np.empty((len(rows), count))
    columns: list[tuple[int, ...]] = []
    odd: list[Integers] = []
    for row, (ranges, calibration) in enumerate(scales):
        taken = channel(description, block, ranges.coarse)
        if ranges.fine != ranges.coarse:
            fine = channel(description, block, ranges.fine)
            with np.errstate(invalid="ignore"):
                taken = merged(fine, taken, ranges.fine_ma)
        # a product with one and a sum with nothing change no bit of a number
        if calibration.gain != 1.0:
            taken *= calibration.gain
        if calibration.offset_ma != 0.0:
            taken += calibration.offset_ma
        odd.append(_blotted(taken, CURRENT_MA_MAX))
        currents[row] = taken
        columns.append((ranges.fine, ranges.coarse))
    for row, index in enumerate(rows):
        taken = channel(description, block, index)
        odd.append(_blotted(taken, VOLTAGE_KV_MAX))
        voltages[row] = taken
        columns.append((index,))
    absent = tuple(_absent(block, some) for some in columns)
    for taken, gone in zip([*currents, *voltages], absent, strict=True):
        taken[gone] = np.nan
    only_odd = (
        np.setdiff1d(one, gone) if len(one) and len(gone) else one
        for one, gone in zip(odd, absent, strict=True)
    )
    return Scaled(currents, voltages, tuple(only_odd), absent)


def channel(description: SignalDescription, block: SampleBlock, index: int) -> Floats:
    """One channel at its own scale [mA or kV]; what is not finite may be anything not finite."""
    one = description.channels[index]
    taken = block.samples[:, index].astype(np.float64)
    with np.errstate(over="ignore", invalid="ignore"):  # what comes of it is seen and said
        taken *= one.gain
        taken += one.offset
    return taken


def _blotted(taken: Floats, most: float) -> Integers:
    """NaN in place of every sample that is no number or beyond `most`; where they are."""
    if len(taken) == 0 or (taken.max() <= most and taken.min() >= -most):  # not so with a NaN
        return NOWHERE
    bad = ~(np.abs(taken) <= most)
    taken[bad] = np.nan
    return np.flatnonzero(bad)


def _absent(block: SampleBlock, columns: tuple[int, ...]) -> Integers:
    if block.missing is None:
        return NOWHERE
    return np.flatnonzero(block.missing[:, list(columns)].any(axis=1))
