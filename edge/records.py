"""The records: what is decided on, kept, sent, stored and decided again.

Every number is an integer of the resolution that `edge.quantities` declares; the unit is in the
name. Pairs are (positive, negative) half-cycles of the current. None means that it could not be
said; the row's flags say why. Times are UTC microseconds since 1970-01-01 as they were believed
when the record was made: a clock found wrong later is a ClockCorrection, never a change of the row.
A field that stands at its default is not written; so a default, once released, never changes.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Annotated, Literal

from annotated_types import Ge, Le, Len

from edge.quantities import INT64_MAX, STATES, State

Whole = Annotated[int, Ge(0), Le(INT64_MAX)]
Signed = Annotated[int, Ge(-INT64_MAX), Le(INT64_MAX)]
Micros = Annotated[int, Ge(0), Le(253_402_300_799_999_999)]  # to the end of the year 9999
Name = Annotated[str, Len(1, 64)]
InsulatorId = Annotated[str, Len(1, 48)]
Pair = tuple[Whole, Whole]
SignedPair = tuple[Signed, Signed]
Levels = tuple[Whole, Whole, Whole, Whole, Whole]


class Stream(StrEnum):
    """One sequence each, so that alarms never wait behind routine rows."""

    ALARM = "alarm"
    INTERVAL = "interval"
    CAPTURE = "capture"
    HEALTH = "health"
    WEATHER = "weather"


class Span(StrEnum):
    """What an interval row covers."""

    MINUTE = "minute"
    TEN_SECONDS = "ten-seconds"  # only while arcing is severe; never summed
    MERGED = "merged"  # dry minutes of a ten-minute tick, or what a full quota put together


class Condition(StrEnum):
    """The edge's word on an alarm; display, acknowledgement and latch are the gateway's."""

    IN = "in"
    OUT = "out"
    UNKNOWN = "unknown"  # data lost: the last condition is frozen, neither raised nor cleared


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalRow:
    """What one insulator did in an interval. All sums are exact sums of windows.

    start_counter, start_us: sample counter and UTC of the first window's first sample.
    state: the interval judged as a window is (arcing-dense: half of the half-cycles of either
    polarity arc). state_us: cover in each State, in the order of `STATES`.
    live_us: cover from the start of the row to the end of the last window with a current present;
    first_arc_us, last_arc_us: offsets of the first and last arcing half-cycle from the row's start;
    silent_from_us: offset at which the current vanished, where it stayed away to the row's end.
    calibration: id of the calibration record that scaled it ("" where none).
    """

    kind: Literal["interval"] = "interval"
    span: Span
    insulator: InsulatorId
    start_counter: Whole
    start_us: Micros
    duration_us: Whole
    windows: Whole
    state: State
    state_us: tuple[Whole, Whole, Whole, Whole, Whole, Whole]
    halfcycles: Whole
    arcing_halfcycles: Whole = 0
    arcing_positive: Whole = 0
    arcing_negative: Whole = 0
    doubtful_halfcycles: Whole = 0
    spike_halfcycles: Whole = 0
    clipped_halfcycles: Whole = 0
    peak_ua: Whole
    arcing_peak_ua: Whole = 0
    pulses: Levels = (0, 0, 0, 0, 0)
    arc_pulses: Levels = (0, 0, 0, 0, 0)
    charge_nc: Pair
    arcing_charge_nc: Pair = (0, 0)
    i2t_pa2s: Pair
    arcing_i2t_pa2s: Pair = (0, 0)
    energy_uj: SignedPair | None = None
    arcing_energy_uj: SignedPair | None = None
    frequency_millihz: Whole | None = None
    voltage_mv: Whole | None = None
    rms_na: Whole | None = None
    mean_na: Signed | None = None
    h1_na: Whole | None = None
    h2_ppm: Whole | None = None
    h3_ppm: Whole | None = None
    h3_cdeg: Signed | None = None
    h5_ppm: Whole | None = None
    thd_ppm: Whole | None = None
    in_phase_na: Signed | None = None
    quadrature_na: Signed | None = None
    live_us: Whole
    first_arc_us: Whole | None = None
    last_arc_us: Whole | None = None
    silent_from_us: Whole | None = None
    calibration: str = ""
    flags: tuple[Name, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherRow:
    """Weather at the site over an interval; None: not measured."""

    kind: Literal["weather"] = "weather"
    start_us: Micros
    duration_us: Whole
    rh_cpct: Whole | None = None
    air_cdegc: Signed | None = None
    dew_point_cdegc: Signed | None = None
    rain_um: Whole | None = None
    wind_mm_s: Whole | None = None
    wind_from_cdeg: Whole | None = None
    uv_mw_m2: Whole | None = None
    flags: tuple[Name, ...] = ()


class Letter(StrEnum):
    """Status of a device by NAMUR NE 107 (categories as recalled)."""

    FAILURE = "F"
    CHECK = "C"
    OUT_OF_SPECIFICATION = "S"
    MAINTENANCE = "M"
    GOOD = ""


class LineStatus(StrEnum):
    """What the line's own status input says; it gates sensor and silence alarms."""

    IN_SERVICE = "in-service"
    OUT_OF_SERVICE = "out-of-service"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class HealthRow:
    """The unit's heartbeat, one a minute: what the shell knows and `decide` may read.

    clock_error_us: half-width of what is believed of UTC; None: unknown. storage_free_ppm: share of
    the durable file's quota that is free. backlog: records not yet receipted. link_counters: what
    the source counted (frames refused, resynchronised, lost samples). noise_na: the quietest
    moment's sample noise [nA, one standard deviation, as primary current] by current channel.
    certificate_days: whole days until the unit's certificate ends, negative after; None: it has
    none. firmware: of the sensor unit, as it names itself.
    """

    kind: Literal["health"] = "health"
    start_us: Micros
    duration_us: Whole
    clock_source: Name
    clock_synchronised: bool
    clock_error_us: Whole | None
    storage_free_ppm: Whole
    backlog: Whole
    samples: Whole
    source_alive: bool
    line_status: LineStatus = LineStatus.UNKNOWN
    supply_mv: Whole | None = None
    enclosure_cdegc: Signed | None = None
    noise_na: dict[str, Whole] = field(default_factory=dict)
    certificate_days: Signed | None = None
    link_counters: dict[str, Whole] = field(default_factory=dict)
    letter: Letter = Letter.GOOD
    reasons: tuple[Name, ...] = ()
    software: str = ""
    firmware: str = ""
    settings_sha: str = ""
    flags: tuple[Name, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionChange:
    """An alarm's condition changed at the edge.

    alarm: id of the definition. subject: insulator id, or "" for the unit itself.
    at_us, at_counter: event time of the change. since_us: when the deciding value first crossed.
    deciding, limits: the integers that were compared, by quantity name. reason: for `unknown`, why.
    """

    kind: Literal["condition"] = "condition"
    alarm: Name
    subject: Annotated[str, Len(0, 48)]
    condition: Condition
    priority: Annotated[int, Ge(1), Le(3)]
    latched: bool
    at_us: Micros
    at_counter: Whole
    since_us: Micros
    deciding: dict[str, Signed]
    limits: dict[str, Signed]
    reason: str = ""
    settings_sha: str = ""
    flags: tuple[Name, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture:
    """Manifest of a stored waveform; its bytes follow as CaptureParts.

    trigger: what asked for it. content_sha: SHA-256 of the whole COMTRADE CFF file.
    """

    kind: Literal["capture"] = "capture"
    insulator: InsulatorId
    trigger: Name
    trigger_us: Micros
    start_us: Micros
    duration_us: Whole
    content_sha: Annotated[str, Len(64, 64)]
    size_bytes: Whole
    parts: Whole
    settings_sha: str = ""
    flags: tuple[Name, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CapturePart:
    """One piece of a capture, base64, in order from 0."""

    kind: Literal["capture-part"] = "capture-part"
    content_sha: Annotated[str, Len(64, 64)]
    part: Whole
    content_b64: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockCorrection:
    """Rows of `boot` between two sample counters were dated wrongly by `shift_us` (add it)."""

    kind: Literal["clock-correction"] = "clock-correction"
    boot: Name
    from_counter: Whole
    to_counter: Whole
    shift_us: Signed
    error_us: Whole
    source: Name


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """A tombstone: records `first` to `last` of this stream were given up, and why."""

    kind: Literal["loss"] = "loss"
    first: Whole
    last: Whole
    count: Whole
    from_us: Micros
    to_us: Micros
    reason: Name


@dataclass(frozen=True, slots=True, kw_only=True)
class EpochStart:
    """First record of every stream of a new durable file; chains it to the one before."""

    kind: Literal["epoch-start"] = "epoch-start"
    previous_epoch: str
    previous_last: Whole
    reason: Name


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitEvent:
    """Something the unit noticed that is no alarm: a clock step, a restart, a refused request."""

    kind: Literal["unit-event"] = "unit-event"
    event: Name
    at_us: Micros
    detail: dict[str, Signed | str] = field(default_factory=dict)


Record = (
    IntervalRow
    | WeatherRow
    | HealthRow
    | ConditionChange
    | Capture
    | CapturePart
    | ClockCorrection
    | Loss
    | EpochStart
    | UnitEvent
)

STREAM_OF: dict[type, Stream] = {
    IntervalRow: Stream.INTERVAL,
    WeatherRow: Stream.WEATHER,
    HealthRow: Stream.HEALTH,
    ConditionChange: Stream.ALARM,
    Capture: Stream.CAPTURE,
    CapturePart: Stream.CAPTURE,
    ClockCorrection: Stream.HEALTH,
    UnitEvent: Stream.HEALTH,
}
"""Loss and EpochStart belong to the stream they speak of."""

assert len(STATES) == 6  # `state_us` has a place for each
