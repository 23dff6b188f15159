"""What a labelled recording is: the samples a sensor delivers, and beside them the truth.

A judge gets the `Recording` only. Positions are in samples of the recording's own counter, as
fractions; the truth about half-cycles stands between zeros of the mains' fundamental voltage.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum, StrEnum

import numpy as np
import numpy.typing as npt

from edge.samples import (
    AnchorSource,
    SampleBlock,
    SignalDescription,
    SourceItem,
    StreamEnd,
    TimeAnchor,
)

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int16]
Marks = npt.NDArray[np.int8]
Bools = npt.NDArray[np.bool_]

MISSING_CODE = -32768
"""Code written where a sample is absent (the int16 mark of COMTRADE from 1999 on, as recalled)."""


class Label(IntEnum):
    """The truth about one half-cycle."""

    HARMLESS = 0
    ARCING = 1
    CORONA_SPIKE = 2  # only short discharges near the crest
    DOUBTFUL = 3  # an arc that nobody could tell: below the noise, or cut by a gap or the end


class Kind(StrEnum):
    """What a family tries a detector with."""

    HARMLESS = "harmless"
    INSTRUMENT = "instrument"  # harmless too; the sensor or the record misbehaves
    ARCING = "arcing"


class Surface(IntEnum):
    """What holds for a half-cycle besides arcs; decides which window states are accepted."""

    DRY = 0
    WET = 1
    DEAD_LINE = 2  # no voltage
    DEAD_SENSOR = 3  # the line lives, the channel says nothing
    OPEN_LEAD = 4  # only pick-up is left
    ABNORMAL_DRY = 5  # raised voltage over a dry surface
    ABNORMAL_WET = 6
    UNSCORED = 7  # between two of these, or not to be told


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """What a judge may see.

    samples: int16 codes, shape (n, channels); missing: the same shape, or None.
    gaps: (first, end) rows that the source lost altogether; `blocks` leaves them out.
    ranges: columns of the one insulator, finest range first; the voltage column, if any, is
    `voltage`. dry_phasor_ma: calibrated r.m.s. of the capacitive current of the bare surface
    against the voltage as a sine (real: in phase, imaginary: leading), None where not calibrated.
    """

    description: SignalDescription
    samples: Codes
    start_utc_ns: int
    ranges: tuple[int, ...]
    voltage: int | None
    dry_phasor_ma: complex | None
    missing: Bools | None = None
    gaps: tuple[tuple[int, int], ...] = ()

    def blocks(self) -> Iterator[SampleBlock]:
        """The samples in order, a jump of the counter at each gap."""
        first = 0
        for gap_first, gap_end in (*self.gaps, (len(self.samples), len(self.samples))):
            if gap_first > first:
                part = slice(first, gap_first)
                absent = None if self.missing is None else self.missing[part]
                yield SampleBlock(first, self.samples[part], absent)
            first = gap_end

    def items(self) -> Iterator[SourceItem]:
        """All that a source would deliver: an anchor, the blocks, the end."""
        yield TimeAnchor(0, self.start_utc_ns, 1_000, AnchorSource.RECORD)
        yield from self.blocks()
        yield StreamEnd(len(self.samples), "the recording ends here")


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """The truth, one entry a half-cycle (boundaries: one more), at the insulator itself.

    boundaries: voltage zeros [samples]. label, surface: `Label`, `Surface`.
    polarity: sign of the delivered current of a half-cycle of positive voltage is +1, unless the
    sensor is reversed. charge_c: integral of |i| over the half-cycle [C];
    arc_charge_c: of the arc branch alone [C]. centre: centre of the arc's charge [samples], the
    middle of the half-cycle without one. film_peak_ma: crest of the resistive film current [mA].
    clipped: the converter stood at its end. lost: samples of it are absent.
    dry_phasor_ma: as in `Recording`, but the truth even where nobody calibrated it.
    """

    boundaries: Floats
    label: Marks
    surface: Marks
    polarity: Marks
    charge_c: Floats
    arc_charge_c: Floats
    centre: Floats
    film_peak_ma: Floats
    clipped: Bools
    lost: Bools
    dry_phasor_ma: complex

    def __len__(self) -> int:
        return len(self.label)


@dataclass(frozen=True, slots=True, eq=False)
class Labelled:
    """One recording of a family with its truth."""

    family: str
    kind: Kind
    seed: int
    recording: Recording
    truth: Truth
