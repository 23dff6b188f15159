"""The default alarms, in the words that an operator reads. Our own words and starting values."""

from __future__ import annotations

from edge.decide.definitions import Alarm, AlarmDefinition, Subject, check_definitions
from edge.decide.setpoints import Limit, Side

MONITORING_ONLY = (
    "Monitoring only: not protection, and no proof that anything is dead or safe to approach."
)
KEEP_CLEAR = (
    "An arcing insulator can flash over without warning: keep people clear, no washing and no "
    "live work on it. " + MONITORING_ONLY
)
DEAD_SENSOR = (
    "A quiet trace may be a dead sensor. Never open a collector lead while energised; earth the "
    "ring first. " + MONITORING_ONLY
)

_MINUTE_S = 60
_HOUR_S = 3600
_SHIFT_S = 8 * _HOUR_S
_DAY_S = 24 * _HOUR_S
_LOST_AFTER_S = 5 * _MINUTE_S
_OWNER = "program default; the site names its own"

_ARCING = AlarmDefinition(
    id=Alarm.ARCING,
    subject=Subject.INSULATOR,
    text="Dry-band arcing on this insulator",
    priority=2,
    latched=False,
    cause="A wet salt layer, lost hydrophobicity or a damaged shed",
    consequence="The surface wears; with more wetting it may flash over and the circuit trip",
    action="Look at weather and neighbouring insulators, call the duty engineer, "
    "hold planned switching, keep everyone away from this insulator",
    safety=KEEP_CLEAR,
    time_to_respond_s=20 * _MINUTE_S,
    limits=(
        Limit("arcing_halfcycles_per_min", "1/min", 6, 3),
        Limit("arc_pulses_100ma", "half-cycles in ten seconds", 3, 0),
    ),
    on_delay_s=3 * _MINUTE_S,
    off_delay_s=_HOUR_S,
    lost_after_s=_LOST_AFTER_S,
    valid_when="energised; the fast path (100 mA in ten seconds) needs no delay",
    owner=_OWNER,
    reason="Six half-cycles a minute for three minutes passes over single events; an hour off "
    "bridges the pauses of a dew cycle",
    source="design choice; about 100 mA as the usual warning level: Chrzan, IEEE TPWRD 25(2) 904",
)

_NEAR_MARGIN = AlarmDefinition(
    id=Alarm.NEAR_MARGIN,
    subject=Subject.INSULATOR,
    text="Arc current near the flashover margin",
    priority=1,
    latched=False,
    cause="Arcs bridge a large part of the insulator",
    consequence="Flashover of this insulator and a trip of the circuit may follow",
    action="Keep people out of the yard, call the duty engineer, prepare to transfer load, "
    "hold planned switching",
    safety=KEEP_CLEAR,
    time_to_respond_s=10 * _MINUTE_S,
    limits=(Limit("arcing_peak_ua", "uA", 100_000, 20_000),),
    on_delay_s=0,
    off_delay_s=_HOUR_S,
    lost_after_s=_LOST_AFTER_S,
    valid_when="energised; lower of 100 mA and 10 % of I_max = (SCD / 15.32)^2 A peak, SCD in "
    "mm/kV phase to phase",
    owner=_OWNER,
    reason="The climb to flashover can take seconds, so no delay; 10 % lies before any level at "
    "which flashover was reported",
    source="I_max after Verma 1978, as recalled; shown for hydrophilic ceramic, not for silicone; "
    "the share of it is a design choice",
)

_FLASHOVER = AlarmDefinition(
    id=Alarm.FLASHOVER_SUSPECTED,
    subject=Subject.INSULATOR,
    text="Current vanished right after arcing: flashover or trip suspected",
    priority=1,
    latched=True,
    cause="A flashover, a trip, or the line switched off while it arced",
    consequence="Reclosing onto a damaged insulator; a damaged insulator left in service",
    action="Compare with protection and switching records, call the duty engineer, have the "
    "insulator looked at from a safe distance before anyone resets this",
    safety=KEEP_CLEAR,
    time_to_respond_s=10 * _MINUTE_S,
    limits=(Limit("arc_to_silence_us", "us", 2_000_000, 0, Side.LOW),),
    on_delay_s=0,
    off_delay_s=10 * _MINUTE_S,
    lost_after_s=_LOST_AFTER_S,
    valid_when="always; stays in while the line is dead, and after current is back the latch is "
    "ended by a person's reset only",
    owner=_OWNER,
    reason="Two seconds covers the clearing time of most protection; longer would take in "
    "planned switching after the arcing has died",
    source="design choice",
)

_OVER_RANGE = AlarmDefinition(
    id=Alarm.OVER_RANGE,
    subject=Subject.INSULATOR,
    text="Over range: the true current is higher than shown",
    priority=2,
    latched=False,
    cause="Current above the sensor's scale, surges, or a damaged sensor",
    consequence="How near flashover is cannot be seen",
    action="Treat it as arcing near the margin until the sensor has been checked",
    safety=KEEP_CLEAR,
    time_to_respond_s=20 * _MINUTE_S,
    limits=(Limit("clipped_halfcycles", "half-cycles in a row of the history", 3, 0),),
    on_delay_s=0,
    off_delay_s=30 * _MINUTE_S,
    lost_after_s=_LOST_AFTER_S,
    valid_when="energised; fewer than three clipped half-cycles stay an event in the rows",
    owner=_OWNER,
    reason="One or two clipped half-cycles are a surge or a switching, three are not",
    source="design choice",
)

_DRY_AIR = AlarmDefinition(
    id=Alarm.DRY_AIR_CURRENT,
    subject=Subject.INSULATOR,
    text="Current flows although the air is dry",
    priority=2,
    latched=False,
    cause="A lead off or shorted, a bridged collector, damage, an animal, or somebody spraying",
    consequence="A real fault is missed, or wrong readings are trusted",
    action="Ask who is at the site; have the insulator looked at from the ground this shift",
    safety=KEEP_CLEAR,
    time_to_respond_s=_SHIFT_S,
    limits=(
        Limit("conducting_ppm", "1e-6 of the time", 500_000, 250_000),
        Limit("air_dry_us", "us", 7_200_000_000, 0),
        Limit("rh_cpct", "0.01 %", 6_000, 0),
    ),
    on_delay_s=30 * _MINUTE_S,
    off_delay_s=30 * _MINUTE_S,
    lost_after_s=_LOST_AFTER_S,
    valid_when="relative humidity under 60 % for two hours by a weather row not older than half "
    "an hour, no rain, no other insulator of the unit conducting; held otherwise. The edge knows "
    "no wash: the on-delay outlasts a wash drying off, and the gateway suppresses this alarm "
    "while a wash is on record",
    owner=_OWNER,
    reason="In dry air a clean or salty surface carries capacitive current only; siblings that "
    "conduct too point to unmeasured wetting",
    source="design choice",
)

_SENSOR = AlarmDefinition(
    id=Alarm.SENSOR_FAILED,
    subject=Subject.BOTH,
    text="Sensor failed: not watched",
    priority=3,
    latched=False,
    cause="A lead open or shorted, a bypassed collector, a changed gain or phase, a dead converter "
    "or serial link, or its supply",
    consequence="A storm would not be seen here, or not in its true size",
    action="Tell maintenance; until then go by weather and neighbours",
    safety=DEAD_SENSOR,
    time_to_respond_s=_SHIFT_S,
    limits=(Limit("sensor_fault", "yes is 1", 1, 0),),
    on_delay_s=10 * _MINUTE_S,
    off_delay_s=10 * _MINUTE_S,
    lost_after_s=_LOST_AFTER_S,
    valid_when="the line's status input does not say out of service; absent current counts only "
    "where it says in service, a dry current off its calibration only over dry hours",
    owner=_OWNER,
    reason="Ten minutes pass over restarts; a dead line has no current to tell a sensor by",
    source="design choice",
)

_CLOCK = AlarmDefinition(
    id=Alarm.CLOCK_UNSYNCHRONISED,
    subject=Subject.UNIT,
    text="Clock of the unit not synchronised",
    priority=3,
    latched=False,
    cause="No time source in reach, or antenna or network lost",
    consequence="Times of this unit cannot be compared with protection records or neighbours",
    action="Tell maintenance; distrust times of this unit by the error shown",
    safety=MONITORING_ONLY,
    time_to_respond_s=_DAY_S,
    limits=(
        Limit("clock_unsynchronised", "yes is 1", 1, 0),
        Limit("clock_error_us", "us", 250_000, 200_000),
    ),
    on_delay_s=10 * _MINUTE_S,
    off_delay_s=10 * _MINUTE_S,
    lost_after_s=_LOST_AFTER_S,
    valid_when="always",
    owner=_OWNER,
    reason="Waveforms of several units are compared to a quarter of a second",
    source="design choice",
)

_STORAGE = AlarmDefinition(
    id=Alarm.STORAGE,
    subject=Subject.UNIT,
    text="Storage of the unit nearly full",
    priority=3,
    latched=False,
    cause="The uplink is down for long, the quota is small, or the medium wears out",
    consequence="Rows and waveforms will be given up, oldest first",
    action="Restore the uplink or tell maintenance; what is stored is still safe",
    safety=MONITORING_ONLY,
    time_to_respond_s=_DAY_S,
    limits=(Limit("storage_free_ppm", "1e-6 of the quota", 100_000, 50_000, Side.LOW),),
    on_delay_s=_MINUTE_S,
    off_delay_s=10 * _MINUTE_S,
    lost_after_s=_LOST_AFTER_S,
    valid_when="always",
    owner=_OWNER,
    reason="A tenth of the quota leaves time to act",
    source="design choice",
)

_HEALTH = AlarmDefinition(
    id=Alarm.UNIT_HEALTH,
    subject=Subject.UNIT,
    text="The unit reports a failure, or works out of its specification",
    priority=3,
    latched=False,
    cause="Supply, temperature, converter or self-test, as the reasons of its health record say",
    consequence="Readings of this unit may be wrong or stop",
    action="Read the reasons in its health record and tell maintenance",
    safety=DEAD_SENSOR,
    time_to_respond_s=_SHIFT_S,
    limits=(Limit("failure_or_out_of_specification", "yes is 1", 1, 0),),
    on_delay_s=10 * _MINUTE_S,
    off_delay_s=10 * _MINUTE_S,
    lost_after_s=_LOST_AFTER_S,
    valid_when="the source is alive (else the failed sensor speaks) and the line's status input "
    "does not say out of service",
    owner=_OWNER,
    reason="Function check and maintenance letters are tasks, not alarms",
    source="letters after NAMUR NE 107, as recalled; delays are design choices",
)

DEFAULT_ALARMS: tuple[AlarmDefinition, ...] = check_definitions(
    (
        _ARCING,
        _NEAR_MARGIN,
        _FLASHOVER,
        _OVER_RANGE,
        _DRY_AIR,
        _SENSOR,
        _CLOCK,
        _STORAGE,
        _HEALTH,
    )
)
"""Checked when this module is imported, so an incomplete alarm cannot be built or installed."""
