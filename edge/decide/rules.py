"""What each alarm compares: one small function a row and alarm, in a table proven complete.

A rule looks at one row and says which stimulus its watch gets, with the integers compared. Rows
that are judged unknown or de-energised, or that bear a sensor fault, may raise by what they saw;
they never clear.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from edge.decide.binding import Bound
from edge.decide.definitions import Alarm
from edge.decide.setpoints import Limit, Stimulus, judge
from edge.decide.state import Air
from edge.quantities import PULSE_LEVELS_MA, STATES, Flag, State
from edge.records import HealthRow, IntervalRow, Letter, LineStatus, Span

_LEVEL_100MA = PULSE_LEVELS_MA.index(100)
_AT_UNKNOWN = STATES.index(State.UNKNOWN)
_AT_DE_ENERGISED = STATES.index(State.DE_ENERGISED)
_CONDUCTING = tuple(
    STATES.index(state) for state in (State.WET, State.ARCING_SPARSE, State.ARCING_DENSE)
)
UNJUDGED = "surface state unknown"
"""Reason of a loss: the samples were missing or could not be told."""

SENSOR_FLAGS = frozenset((Flag.SENSOR_FAULT, Flag.DRY_CURRENT_OFF))
"""A row that bears one is not quiet. With the second the samples are judged all the same."""

_US_PER_MIN = 60_000_000
_PPM = 1_000_000

WEATHER_STALE_US = 1_800_000_000
"""After half an hour without weather rows nothing is said of the air, and dryness counts anew."""


@dataclass(frozen=True, slots=True)
class Sight:
    """One row and what must be known beside it.

    good_us: cover with the line live and the surface judged. loss: why the row is no good data, in
    words; empty where it is. since_arc_us: good data since the last arc before this row.
    siblings_quiet: no other insulator of the unit conducted in dry air at its last row.
    """

    row: IntervalRow
    good_us: int
    loss: str
    since_arc_us: int | None
    air: Air
    siblings_quiet: bool
    line: LineStatus


@dataclass(frozen=True, slots=True)
class Reading:
    """What a rule says.

    crossed_us: offset in the row at which the amount crossed. whole_row: it stands for all of the
    row's cover, whether or not the surface could be judged.
    """

    stimulus: Stimulus
    deciding: dict[str, int] = field(default_factory=dict)
    crossed_us: int = 0
    reason: str = ""
    whole_row: bool = False


HELD = Reading(Stimulus.HELD)


def good_us(row: IntervalRow) -> int:
    """Cover of the row with the line live and the surface judged."""
    return row.duration_us - row.state_us[_AT_UNKNOWN] - row.state_us[_AT_DE_ENERGISED]


def loss_of(row: IntervalRow, judged_us: int) -> str:
    """Why a row with so much good cover is no good data, in words; empty where it is."""
    if row.flags and Flag.SENSOR_FAULT in row.flags:
        return "sensor fault"
    if row.state is State.DE_ENERGISED:
        return "line de-energised"
    if row.state is State.UNKNOWN or judged_us <= 0:
        return UNJUDGED
    return ""


def _believed(sight: Sight, reading: Reading) -> Reading:
    if not sight.loss or reading.stimulus is Stimulus.AT_LIMIT:
        return reading
    return Reading(Stimulus.LOST, reason=sight.loss)


def _simple(sight: Sight, limit: Limit, amount: int, crossed_us: int = 0) -> Reading:
    found = Reading(judge(limit, amount), {limit.quantity: amount}, crossed_us)
    return _believed(sight, found)


def arcing(sight: Sight, bound: Bound) -> Reading:
    """Minutes by their rate, ten-second rows by their half-cycles above 100 mA, at once."""
    row = sight.row
    strong = bound.limits["arc_pulses_100ma"]
    pulses = row.arc_pulses[_LEVEL_100MA]
    first_us = row.first_arc_us or 0
    if row.span is Span.TEN_SECONDS:
        severe = judge(strong, pulses) is Stimulus.AT_LIMIT
        stimulus = Stimulus.AT_ONCE if severe else Stimulus.HELD
        return Reading(stimulus, {strong.quantity: pulses}, first_us)
    rate = bound.limits["arcing_halfcycles_per_min"]
    cover_us = sight.good_us or row.duration_us
    per_min = row.arcing_halfcycles * _US_PER_MIN // cover_us
    stimulus = judge(rate, per_min)
    if stimulus is Stimulus.CLEAR and judge(strong, pulses) is Stimulus.AT_LIMIT:
        stimulus = Stimulus.DEADBAND  # a minute with that many strong arcs clears nothing
    compared = {rate.quantity: per_min, strong.quantity: pulses}
    return _believed(sight, Reading(stimulus, compared, first_us))


def near_margin(sight: Sight, bound: Bound) -> Reading:
    """The highest current of an arcing half-cycle."""
    limit, row = bound.limits["arcing_peak_ua"], sight.row
    return _simple(sight, limit, row.arcing_peak_ua, row.first_arc_us or 0)


def over_range(sight: Sight, bound: Bound) -> Reading:
    """Clipped half-cycles of the row."""
    return _simple(sight, bound.limits["clipped_halfcycles"], sight.row.clipped_halfcycles)


def flashover_suspected(sight: Sight, bound: Bound) -> Reading:
    """Time from the last arc to silence, across rows too; only current that is back clears it.

    Silence without an arc before is good data that neither raises nor clears it.
    """
    row, limit = sight.row, bound.limits["arc_to_silence_us"]
    if row.silent_from_us is None:
        return _believed(sight, Reading(Stimulus.CLEAR, {"live_us": row.live_us}))
    quiet_us = arc_to_silence_us(row, sight.since_arc_us)
    if quiet_us is not None and judge(limit, quiet_us) is Stimulus.AT_LIMIT:
        return Reading(Stimulus.AT_ONCE, {limit.quantity: quiet_us}, row.silent_from_us)
    silent = Reading(Stimulus.DEADBAND, {"live_us": row.live_us})
    return silent if row.state is State.DE_ENERGISED else _believed(sight, silent)


def arc_to_silence_us(row: IntervalRow, since_arc_us: int | None) -> int | None:
    """Good data between the last arc and the silence that lasts to the row's end; None: neither."""
    if row.silent_from_us is None:
        return None
    if row.last_arc_us is not None:
        return max(0, row.silent_from_us - row.last_arc_us)
    return None if since_arc_us is None else since_arc_us + row.silent_from_us


def conducting_ppm(sight: Sight) -> int:
    """Share of the judged cover in which more than the dry current flowed [1e-6]."""
    conducting_us = sum(sight.row.state_us[place] for place in _CONDUCTING)
    return conducting_us * _PPM // sight.good_us if sight.good_us > 0 else 0


def air_is_known_dry(sight: Sight) -> bool:
    """The air has been dry for the time stated, by a weather row that is not stale."""
    if not sight.air.is_dry:
        return False
    age_us = sight.row.start_us + sight.row.duration_us - sight.air.end_us
    return age_us <= WEATHER_STALE_US


def dry_air_current(sight: Sight, bound: Bound) -> Reading:
    """Share of the row conducting, judged only in dry air and with quiet siblings."""
    air = sight.air
    if not air_is_known_dry(sight) or air.rh_cpct is None:
        return HELD
    limit, share = bound.limits["conducting_ppm"], conducting_ppm(sight)
    if not sight.siblings_quiet and judge(limit, share) is not Stimulus.CLEAR:
        return HELD
    compared = {limit.quantity: share, "air_dry_us": air.dry_us, "rh_cpct": air.rh_cpct}
    return _believed(sight, Reading(judge(limit, share), compared))


def sensor_failed(sight: Sight, bound: Bound) -> Reading:
    """The measure's fault flag, no current where the line's own input says in service, or the
    self-test's word."""
    row, limit = sight.row, bound.limits["sensor_fault"]
    if sight.line is LineStatus.OUT_OF_SERVICE:
        return HELD
    if Flag.SENSOR_FAULT in row.flags:
        return _fault(limit, "flagged by the measurement")
    if row.state is State.DE_ENERGISED:
        if sight.line is not LineStatus.IN_SERVICE:
            return HELD
        return _fault(limit, "no current although line in service")
    if Flag.DRY_CURRENT_OFF in row.flags:
        return _fault(limit, "dry current not as calibrated: bypass, lead, gain or phase")
    return _believed(sight, Reading(Stimulus.CLEAR, {limit.quantity: 0}))


def _fault(limit: Limit, reason: str) -> Reading:
    return Reading(Stimulus.AT_LIMIT, {limit.quantity: 1}, reason=reason, whole_row=True)


def clock_unsynchronised(row: HealthRow, bound: Bound) -> Reading:
    """The clock's own word, and the half-width of what is believed of UTC."""
    flag, error = bound.limits["clock_unsynchronised"], bound.limits["clock_error_us"]
    compared = {flag.quantity: int(not row.clock_synchronised)}
    if row.clock_error_us is not None:
        compared[error.quantity] = row.clock_error_us
    if not row.clock_synchronised:
        return Reading(Stimulus.AT_LIMIT, compared)
    if row.clock_error_us is None:
        return Reading(Stimulus.LOST, reason="clock error unknown")
    return Reading(judge(error, row.clock_error_us), compared)


def storage(row: HealthRow, bound: Bound) -> Reading:
    """Free share of the durable file's quota."""
    limit = bound.limits["storage_free_ppm"]
    return Reading(judge(limit, row.storage_free_ppm), {limit.quantity: row.storage_free_ppm})


def unit_health(row: HealthRow, bound: Bound) -> Reading:
    """The unit's letter; held while the source is dead or the line out of service."""
    if not row.source_alive or row.line_status is LineStatus.OUT_OF_SERVICE:
        return HELD
    limit = bound.limits["failure_or_out_of_specification"]
    bad = int(row.letter in (Letter.FAILURE, Letter.OUT_OF_SPECIFICATION))
    reason = ", ".join(row.reasons) if bad else ""
    return Reading(judge(limit, bad), {limit.quantity: bad}, reason=reason)


def source_dead(row: HealthRow, bound: Bound) -> Reading:
    """The source does not deliver; held while the line is out of service."""
    if row.line_status is LineStatus.OUT_OF_SERVICE:
        return HELD
    limit, dead = bound.limits["sensor_fault"], int(not row.source_alive)
    return Reading(judge(limit, dead), {limit.quantity: dead}, reason="source not alive" * dead)


INSULATOR_RULES: dict[Alarm, Callable[[Sight, Bound], Reading]] = {
    Alarm.ARCING: arcing,
    Alarm.NEAR_MARGIN: near_margin,
    Alarm.FLASHOVER_SUSPECTED: flashover_suspected,
    Alarm.OVER_RANGE: over_range,
    Alarm.DRY_AIR_CURRENT: dry_air_current,
    Alarm.SENSOR_FAILED: sensor_failed,
}

UNIT_RULES: dict[Alarm, Callable[[HealthRow, Bound], Reading]] = {
    Alarm.SENSOR_FAILED: source_dead,
    Alarm.CLOCK_UNSYNCHRONISED: clock_unsynchronised,
    Alarm.STORAGE: storage,
    Alarm.UNIT_HEALTH: unit_health,
}
