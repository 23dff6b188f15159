"""Raw rows kept back for a few seconds, and waveforms cut out of them as converter codes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from edge.measure.plan import Calibration
from edge.samples import SampleBlock, SignalDescription, TimeAnchor

Raw = npt.NDArray[np.generic]
Bools = npt.NDArray[np.bool_]


class Trigger(StrEnum):
    """What asked for a waveform, from the lightest to the weightiest."""

    BASELINE = "baseline"  # a dry surface, once a day, to compare with
    ONSET = "arcing-onset"  # the first arc after a quiet time
    HIGHEST = "highest-arcing-current"
    OVER_RANGE = "over-range"  # the converter was at its end: the true value is higher
    FLASHOVER = "flashover-suspected"  # the current was gone right after arcing


@dataclass(frozen=True, slots=True, eq=False)
class CapturedWaveform:
    """A waveform of one insulator in raw converter codes.

    counter, trigger_counter: of the first row and of the trigger. samples: shape (n, channels),
    codes as delivered, of the insulator's ranges and of the voltage it is judged by; `description`
    says how they become mA and kV, before calibration. missing: same shape, None: none is.
    peak_ua: highest current of the trigger's window. flags: bits of the windows it covers.
    row_counter: start counter of the minute row that it is released with; -1 before.
    """

    insulator: str
    trigger: Trigger
    trigger_counter: int
    counter: int
    samples: Raw
    missing: Bools | None
    description: SignalDescription
    anchor: TimeAnchor
    calibration: Calibration
    peak_ua: int
    flags: int
    row_counter: int = -1


@dataclass(frozen=True, slots=True, eq=False)
class RawRows:
    """Consecutive blocks of one segment; views where the source gave views, nothing is copied."""

    pieces: tuple[SampleBlock, ...] = ()

    @property
    def stop(self) -> int:
        """Counter after the last row; 0 where there is none."""
        return self.pieces[-1].counter_end if self.pieces else 0

    def joined_by(self, block: SampleBlock) -> RawRows:
        """With a further block, which begins where the last one ended."""
        return replace(self, pieces=(*self.pieces, block))

    def without(self, counter: int) -> RawRows:
        """Without the blocks that end before `counter`."""
        if not self.pieces or self.pieces[0].counter_end > counter:
            return self
        return RawRows(tuple(one for one in self.pieces if one.counter_end > counter))

    def cut(self, start: int, stop: int, columns: tuple[int, ...]) -> tuple[Raw, Bools | None]:
        """Copies of the rows from counter `start` up to but without `stop`, and what is missing."""
        rows: list[Raw] = []
        absent: list[Bools] = []
        for piece in self.pieces:
            first, last = max(start, piece.counter), min(stop, piece.counter_end)
            if first >= last:
                continue
            part = slice(first - piece.counter, last - piece.counter)
            rows.append(piece.samples[part][:, columns])
            gone = None if piece.missing is None else piece.missing[part][:, columns]
            absent.append(np.zeros(rows[-1].shape, np.bool_) if gone is None else gone)
        samples, missing = np.concatenate(rows), np.concatenate(absent)
        return samples, missing if missing.any() else None
