"""What a recording declares about itself, parsed and checked, and the limits it is held to.

Field order and meaning of the configuration follow C37.111-1991, -1999 and -2013 (IEC 60255-24) as
open-source readers and writers show them; the standards' own text was not consulted.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

CHANNELS_DECLARED_MAX = 1_024
"""More analogue or more digital channels than this are refused before anything is reserved."""

ROWS_MAX = (1 << 32) - 2
"""More rows are refused: the sample number of the binary formats has 32 bits."""

CONFIGURATION_BYTES_MAX = 4 << 20
"""A longer configuration or header text is refused unread."""


class Revision(StrEnum):
    """Edition of the format; it decides the order of the date and what each line holds."""

    R1991 = "1991"
    R1999 = "1999"
    R2013 = "2013"


class FileType(StrEnum):
    """How the rows of values are stored."""

    ASCII = "ASCII"  # decimal text, a line a row
    BINARY = "BINARY"  # 16-bit two's complement
    BINARY32 = "BINARY32"  # 32-bit two's complement
    FLOAT32 = "FLOAT32"  # IEEE 754 single precision


@dataclass(frozen=True, slots=True)
class AnalogueChannel:
    """One analogue channel as declared: code * a + b is in `unit`, primary or secondary.

    number: as declared, from 1. column: position in each row, from 0. skew_us: delay of this
    channel's samples within a row. code_min, code_max: declared range of codes. primary, secondary:
    the transformer's ratio. is_secondary: values are on the secondary side; None: not said (1991).
    """

    number: int
    column: int
    name: str
    phase: str
    component: str
    unit: str
    a: float
    b: float
    skew_us: float
    code_min: float
    code_max: float
    primary: float
    secondary: float
    is_secondary: bool | None


@dataclass(frozen=True, slots=True)
class DigitalChannel:
    """One status channel as declared; its samples are not used by this program."""

    number: int
    name: str


@dataclass(frozen=True, slots=True)
class TimeQuality:
    """What the record says of its clock.

    stated: it says anything at all. synchronised: see `stamps.SYNCHRONISED_ERROR_NS_MAX`.
    error_ns: half-width of what is believed of the start time.
    """

    stated: bool
    synchronised: bool
    error_ns: int


@dataclass(frozen=True, slots=True)
class Header:
    """The configuration of a recording.

    rate_hz: sampling rate; None where the rows are time-stamped instead (no rate declared).
    rows: declared number of rows. line_hz: nominal mains frequency; None where left empty.
    start_utc_ns, trigger_utc_ns: of the first row and of the trigger, UTC since 1970-01-01.
    stamp_ns: one unit of a row's time stamp, its multiplier taken in.
    zone_assumed: the record does not say its time zone and the caller did not either: read as UTC.
    """

    name: str
    station: str
    device: str
    revision: Revision
    analogue: tuple[AnalogueChannel, ...]
    digital: tuple[DigitalChannel, ...]
    line_hz: float | None
    rate_hz: float | None
    rows: int
    start_utc_ns: int
    trigger_utc_ns: int
    file_type: FileType
    stamp_ns: float
    zone_assumed: bool
    quality: TimeQuality
    warnings: tuple[str, ...]
