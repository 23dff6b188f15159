"""Sample blocks and time anchors: what a source delivers and the measure reads.

The sample counter is the time base. A source delivers, in order of the counter, the items below;
a jump of the counter between two blocks is a gap (samples that were lost). UTC enters only through
time anchors, which are data in the stream like everything else.

This is the only shared module that holds arrays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

RATE_HZ_MIN = 4_800.0
RATE_HZ_MAX = 25_600.0
CHANNELS_MAX = 32
BLOCK_SAMPLES_MAX = 1 << 22
"""A longer block is cut by its source; keeps the memory of one step bounded."""


class ChannelKind(StrEnum):
    """What a channel carries; the unit of its scaled samples follows from it."""

    CURRENT = "current"  # mA, primary
    VOLTAGE = "voltage"  # kV, primary, phase to earth


@dataclass(frozen=True, slots=True)
class Channel:
    """One analogue channel as the source declares it.

    name: unique within the source. phase: as declared ("A", "L1", "" where unknown).
    gain, offset: raw * gain + offset is mA (current) or kV (voltage), at primary.
    raw_min, raw_max: the converter's end codes, beyond or at which a sample is clipped;
    None where the source does not say.
    """

    name: str
    kind: ChannelKind
    phase: str = ""
    gain: float = 1.0
    offset: float = 0.0
    raw_min: float | None = None
    raw_max: float | None = None


@dataclass(frozen=True, slots=True)
class SignalDescription:
    """What every block of one source looks like.

    rate_hz: nominal sampling rate [Hz]. nominal_hz: nominal mains frequency, 50 or 60 [Hz].
    channels: in the order of the columns of each block.
    """

    rate_hz: float
    nominal_hz: float
    channels: tuple[Channel, ...]


@dataclass(frozen=True, slots=True, eq=False)
class SampleBlock:
    """Consecutive samples of all channels.

    counter: sample counter of the first row, never falling within one source.
    samples: shape (n, channels), raw values as delivered (int16, int32, float32 or float64).
    missing: shape (n, channels), True where the source says that a value is absent; None: none is.
    """

    counter: int
    samples: npt.NDArray[np.generic]
    missing: npt.NDArray[np.bool_] | None = None

    @property
    def counter_end(self) -> int:
        """Counter of the first sample after this block."""
        return self.counter + int(self.samples.shape[0])


def joined(blocks: Sequence[SampleBlock]) -> SampleBlock:
    """Blocks that follow each other as one."""
    if len(blocks) == 1:
        return blocks[0]
    missing = None
    if any(block.missing is not None for block in blocks):
        missing = np.concatenate(
            [
                np.zeros(block.samples.shape, np.bool_) if block.missing is None else block.missing
                for block in blocks
            ]
        )
    samples = np.concatenate([block.samples for block in blocks])
    return SampleBlock(blocks[0].counter, samples, missing)


class AnchorSource(StrEnum):
    """Where a time anchor's UTC comes from, best first."""

    GNSS = "gnss"
    PTP = "ptp"
    NTP = "ntp"
    RECORD = "record"  # the time stamp of a stored recording
    LOCAL = "local"  # an undisciplined clock


@dataclass(frozen=True, slots=True)
class TimeAnchor:
    """Ties the sample counter to UTC; delivered before the first sample it applies to.

    utc_ns: UTC of sample `counter`, nanoseconds since 1970-01-01.
    error_ns: half-width of what is believed of it. synchronised: whether the clock was disciplined.
    """

    counter: int
    utc_ns: int
    error_ns: int
    source: AnchorSource
    synchronised: bool = True


@dataclass(frozen=True, slots=True)
class SlowReading:
    """Readings beside the samples: weather, supply, line status. Keys are quantity names."""

    counter: int
    readings: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class StreamEnd:
    """The source has ended; `reason` says why in words a fitter understands."""

    counter: int
    reason: str


SourceItem = SampleBlock | TimeAnchor | SlowReading | StreamEnd
