"""The table of windows of one insulator: whole numbers of declared resolution, column by column."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from edge.quantities import PULSE_LEVELS_MA

Integers = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

ABSENT = np.iinfo(np.int64).min
"""Stands in a column for 'could not be said'; never leaves this package's tables."""

LEVELS = len(PULSE_LEVELS_MA)


@dataclass(frozen=True, slots=True, eq=False)
class WindowTable:
    """Windows of one insulator in order of time; each column is int64 with one entry a window.

    Columns are named as in `edge.quantities`; pairs (positive, negative) and levels are columns of
    a second axis. start: sample counter of the first sample. start_us: UTC. state: index into
    STATES. flags: bits, numbered by `edge.measure.flags.BITS`. first_arc, last_arc: sample offsets
    of arcing half-cycles from the window's start, ABSENT without. live: 1 where a current flows.
    """

    start: Integers
    start_us: Integers
    duration_us: Integers
    state: Integers
    flags: Integers
    live: Integers
    first_arc_us: Integers
    last_arc_us: Integers
    halfcycles: Integers
    halfcycles_judged: Integers  # (n, 2): complete half-cycles by polarity
    arcing: Integers  # (n, 2)
    arcing_bits: Integers  # bit k: complete half-cycle number k of the window arcs
    doubtful_halfcycles: Integers
    spike_halfcycles: Integers
    clipped_halfcycles: Integers
    peak_ua: Integers
    arcing_peak_ua: Integers
    pulses: Integers  # (n, LEVELS)
    arc_pulses: Integers  # (n, LEVELS)
    charge_nc: Integers  # (n, 2)
    arcing_charge_nc: Integers  # (n, 2)
    i2t_pa2s: Integers  # (n, 2)
    arcing_i2t_pa2s: Integers  # (n, 2)
    energy_uj: Integers  # (n, 2), ABSENT without voltage
    arcing_energy_uj: Integers  # (n, 2)
    frequency_millihz: Integers
    voltage_mv: Integers
    rms_na: Integers
    mean_na: Integers
    h1_na: Integers
    h2_ppm: Integers
    h3_ppm: Integers
    h3_cdeg: Integers
    h5_ppm: Integers
    h5_h3_ppm: Integers
    thd_ppm: Integers
    in_phase_na: Integers
    quadrature_na: Integers

    def __len__(self) -> int:
        return len(self.start)

    def rows(self, first: int, stop: int) -> WindowTable:
        """The windows from `first` up to but without `stop`."""
        return WindowTable(**{f.name: getattr(self, f.name)[first:stop] for f in fields(self)})


def joined(tables: list[WindowTable]) -> WindowTable:
    """Tables one after the other."""
    if len(tables) == 1:
        return tables[0]
    return WindowTable(
        **{
            f.name: np.concatenate([getattr(t, f.name) for t in tables])
            for f in fields(WindowTable)
        }
    )


def quantised(measured: Floats, units: float) -> Integers:
    """Whole numbers of the resolution (half to even); ABSENT where not finite."""
    finite = np.isfinite(measured)
    scaled = np.rint(np.where(finite, measured, 0.0) * units)
    return np.where(finite, scaled.astype(np.int64), ABSENT)
