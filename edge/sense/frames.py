"""The frames of the firmware link: what they say and how they are laid out.

All numbers are little-endian. Every body starts with `HEAD`: type (u8), sequence (u32, one up for
every frame of any type, starts anywhere, wraps), boot (u32, new at every start of the firmware and
whenever anything that the hello says has changed). Then by type:

hello      `HELLO`, firmware text, then for each channel `CHANNEL`, name text, phase text
samples    `SAMPLES`, rows * channels values interleaved by row (i16 or i32), then, with the status
           bit MISSING_MASK, one bit a value in the same order, lowest bit first, 1 = value absent
anchor     `ANCHOR`
slow       `SLOW`, then for each reading `READING`
bye        `BYE`, reason text
host hello `HOST_HELLO` (from the host to the firmware: 'say hello now')

A text is a length byte and UTF-8. Bytes after what is described are a later minor version's and are
ignored, except in samples, whose length must agree. The layout is ours.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum, IntFlag
from fractions import Fraction

from edge.quantities import BY_NAME
from edge.samples import AnchorSource, Channel, ChannelKind, SignalDescription

PROTOCOL_MAJOR = 1
"""A hello of another major is refused: its frames would be guesswork."""

PROTOCOL_MINOR = 0
"""A higher minor only adds: frame types, codes and trailing bytes that this one skips."""

CAPABILITIES_REQUIRED = 0xFFFF_0000
"""Upper half: a receiver must know these to read the stream; an unknown one is refused.
Lower half: may be ignored."""

CHANNELS_MAX = 16
"""A hello with more is refused; the fault mask of samples has one bit for each."""

TEXT_BYTES_MAX = 200
COUNTER_MAX = 1 << 62
"""A higher counter is refused; sums of counters stay within 63 bits."""

FRAME_S_MIN = 0.025
"""Firmware sends at least this much signal a frame; shorter ones are read, but waste the line."""


class FrameType(IntEnum):
    HELLO = 1
    SAMPLES = 2
    ANCHOR = 3
    SLOW = 4
    BYE = 5
    HOST_HELLO = 0x81


class Capability(IntFlag):
    """What a firmware does besides samples; none of these needs to be known by the receiver."""

    SLOW_READINGS = 1
    HEARS_HOST = 2  # answers a host hello with a hello


class Status(IntFlag):
    """What the firmware saw during a samples frame; unknown bits are ignored."""

    OVERRANGE = 1  # a value stands at an end code (the values themselves say which)
    SENSOR_FAULT = 2  # a channel of the fault mask is open, short or dead: its values are absent
    SUPPLY_DIP = 4  # the supply left its band; values are still delivered
    BUFFER_OVERRUN = 8  # samples were lost before this frame; the counter jumps
    MISSING_MASK = 16  # a mask of absent values follows the values


HEAD = struct.Struct("<BII")
HELLO = struct.Struct("<BBIIIIHB")  # major minor capabilities rate/rate nominal_mhz rows channels
CHANNEL = struct.Struct(
    "<BBddii"
)  # kind, ends given (1 low, 2 high), gain, offset, raw_min, raw_max
SAMPLES = struct.Struct("<QBBBBHH")  # counter status bytes channels 0 fault_channels rows
ANCHOR = struct.Struct("<QQQBB")  # counter utc_ns error_ns source synchronised
SLOW = struct.Struct("<QB")  # counter readings
READING = struct.Struct("<Bi")  # quantity code, units of the glossary
BYE = struct.Struct("<Q")  # counter
HOST_HELLO = struct.Struct("<BBI")  # major minor capabilities

KIND_CODES = {ChannelKind.CURRENT: 1, ChannelKind.VOLTAGE: 2}
SOURCE_CODES = {
    AnchorSource.LOCAL: 0,
    AnchorSource.NTP: 1,
    AnchorSource.PTP: 2,
    AnchorSource.GNSS: 3,
    AnchorSource.RECORD: 4,
}
LINE_STATUS = "line_status"
"""Key of a slow reading that is no glossary quantity: 0 unknown, 1 in service, 2 out of service."""

READING_CODES = {
    "rh_cpct": 1,
    "air_cdegc": 2,
    "enclosure_cdegc": 3,
    "supply_mv": 4,
    LINE_STATUS: 5,
    "dew_point_cdegc": 6,
    "rain_um": 7,
    "wind_mm_s": 8,
    "wind_from_cdeg": 9,
    "uv_mw_m2": 10,
}
READING_RANGES = {
    name: (0, 2) if name == LINE_STATUS else (BY_NAME[name].low, BY_NAME[name].high)
    for name in READING_CODES
}


@dataclass(frozen=True, slots=True)
class Hello:
    """What the stream is. rate: exact [Hz]. frame_rows: rows of a usual samples frame."""

    rate: Fraction
    nominal_millihz: int
    frame_rows: int
    channels: tuple[Channel, ...]
    firmware: str = ""
    major: int = PROTOCOL_MAJOR
    minor: int = PROTOCOL_MINOR
    capabilities: int = 0

    @property
    def description(self) -> SignalDescription:
        return SignalDescription(float(self.rate), self.nominal_millihz / 1000, self.channels)

    @property
    def frame_s(self) -> float:
        """Time between two samples frames [s]."""
        return float(self.frame_rows / self.rate)


@dataclass(frozen=True, slots=True)
class Samples:
    """Rows from `counter` on. packed: the values as on the line, `bytes_each` 2 or 4.

    missing_bits: mask as on the line, or None. fault_channels: bit i: channel i is at fault.
    """

    counter: int
    rows: int
    channels: int
    bytes_each: int
    packed: bytes
    status: int = 0
    fault_channels: int = 0
    missing_bits: bytes | None = None


@dataclass(frozen=True, slots=True)
class Anchor:
    """UTC of a sample. source: a code of `SOURCE_CODES`, or one that this version doesn't know."""

    counter: int
    utc_ns: int
    error_ns: int
    source: int
    synchronised: bool


@dataclass(frozen=True, slots=True)
class Slow:
    """Readings as (code, units of the glossary); unknown codes are the receiver's to skip."""

    counter: int
    readings: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Bye:
    """The firmware stops on purpose."""

    counter: int
    reason: str


@dataclass(frozen=True, slots=True)
class HostHello:
    """The host asks for a hello and says what it can read."""

    major: int = PROTOCOL_MAJOR
    minor: int = PROTOCOL_MINOR
    capabilities: int = 0


Frame = Hello | Samples | Anchor | Slow | Bye | HostHello


def exact_rate(rate_hz: float) -> Fraction:
    """The rate as a ratio of two 32-bit numbers that gives this very float; ValueError if none."""
    ratio = Fraction(rate_hz).limit_denominator(100_000)
    if float(ratio) != rate_hz:
        raise ValueError(f"rate {rate_hz!r} Hz is no ratio of two 32-bit numbers; round it")
    return ratio
