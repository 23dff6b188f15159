"""What the unit can say about its own health: every diagnostic, its letter, and what to do.

Letters after NAMUR NE 107 (categories as recalled). Limits are design choices.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from edge.records import Letter

ENCLOSURE_CDEGC_MAX = 7_000
ENCLOSURE_CDEGC_MIN = -3_000
"""Outside of these the electronics work beyond what industrial parts are sold for."""

STORAGE_LOW_PPM = 100_000
"""Below a tenth of the quota rows are soon given up; the storage alarm has the same limit."""

NOISY_FRAMES_PER_MIN = 6
"""More refused frames a minute than this speak of a bad lead or supply, not of one disturbance."""

CERTIFICATE_DAYS = (30, 7, 1)
"""Days before the certificate's end at which a diagnostic each begins; the last is an alarm."""

BACKLOG_STALE = 1_000
"""So many records without a receipt while there is no link are more than a short outage."""


class Diagnostic(StrEnum):
    """What can be wrong with the unit; the words are its reasons in the health record."""

    SOURCE_SILENT = "source-silent"
    SENSOR_FAULT = "sensor-fault"
    SIMULATED = "not-a-live-sensor"
    COMMISSIONING = "commissioning"
    SAMPLES_LOST = "samples-lost"
    SENSOR_RESTARTED = "sensor-unit-restarted"
    SUPPLY_DIP = "supply-dip"
    ENCLOSURE = "enclosure-temperature"
    CLOCK = "clock-unsynchronised"
    STORAGE_LOW = "storage-low"
    UPLINK_AWAY = "uplink-away"
    LINE_NOISY = "line-noisy"
    CERTIFICATE_MONTH = "certificate-ends-within-30-days"
    CERTIFICATE_WEEK = "certificate-ends-within-7-days"
    CERTIFICATE_DAY = "certificate-ends-within-a-day"
    CERTIFICATE_UNREADABLE = "certificate-unreadable"
    WEATHER_SILENT = "weather-station-silent"


@dataclass(frozen=True, slots=True)
class Meaning:
    """letter: by NE 107. action: what a fitter does."""

    letter: Letter
    action: str


MEANINGS: dict[Diagnostic, Meaning] = {
    Diagnostic.SOURCE_SILENT: Meaning(
        Letter.FAILURE, "check the sensor unit's supply and its data lead"
    ),
    Diagnostic.SENSOR_FAULT: Meaning(
        Letter.FAILURE, "a sensor is open, shorted or dead: inspect it, with the ring earthed first"
    ),
    Diagnostic.SIMULATED: Meaning(
        Letter.CHECK, "readings come from a recording or a simulation: never act on them"
    ),
    Diagnostic.COMMISSIONING: Meaning(
        Letter.CHECK,
        "not in service yet: finish `seafret-edge commission`, and rely on nothing until then",
    ),
    Diagnostic.SAMPLES_LOST: Meaning(
        Letter.OUT_OF_SPECIFICATION, "the link or this computer is too slow or disturbed"
    ),
    Diagnostic.SENSOR_RESTARTED: Meaning(
        Letter.OUT_OF_SPECIFICATION, "the sensor unit restarted: check its supply"
    ),
    Diagnostic.SUPPLY_DIP: Meaning(
        Letter.OUT_OF_SPECIFICATION, "check battery, panel and fuse of the supply"
    ),
    Diagnostic.ENCLOSURE: Meaning(
        Letter.OUT_OF_SPECIFICATION, "shade, ventilate or heat the enclosure"
    ),
    # The clock has an alarm of its own; as out of specification it would ring twice.
    Diagnostic.CLOCK: Meaning(Letter.MAINTENANCE, "check antenna, network and time service"),
    Diagnostic.STORAGE_LOW: Meaning(Letter.MAINTENANCE, "restore the uplink, or raise the quota"),
    Diagnostic.UPLINK_AWAY: Meaning(Letter.MAINTENANCE, "check modem, network and broker"),
    Diagnostic.LINE_NOISY: Meaning(Letter.MAINTENANCE, "check the data lead and its screen"),
    Diagnostic.CERTIFICATE_MONTH: Meaning(
        Letter.MAINTENANCE, "renew the unit's certificate at the utility's authority"
    ),
    Diagnostic.CERTIFICATE_WEEK: Meaning(
        Letter.MAINTENANCE, "renew the certificate this week: afterwards nothing can be sent"
    ),
    # Out of specification, for an alarm must still get through while the broker lets the unit in.
    Diagnostic.CERTIFICATE_DAY: Meaning(
        Letter.OUT_OF_SPECIFICATION, "renew the certificate today; once it has ended, by a visit"
    ),
    Diagnostic.CERTIFICATE_UNREADABLE: Meaning(
        Letter.OUT_OF_SPECIFICATION, "put the certificate's file in its place again"
    ),
    Diagnostic.WEATHER_SILENT: Meaning(
        Letter.MAINTENANCE, "check the weather station's supply and lead; `check` says more"
    ),
}
"""Total: every diagnostic has its meaning."""

assert set(MEANINGS) == set(Diagnostic)

WORST_FIRST = (
    Letter.FAILURE,
    Letter.CHECK,
    Letter.OUT_OF_SPECIFICATION,
    Letter.MAINTENANCE,
    Letter.GOOD,
)
"""Which letter names a unit with several diagnostics."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signs:
    """What a minute showed. counted: growth of the source's counters within it."""

    alive: bool
    is_live: bool
    clock_synchronised: bool
    storage_free_ppm: int
    backlog: int
    uplink_away: bool
    counted: Mapping[str, int]
    enclosure_cdegc: int | None = None
    certificate_days: int | None = None
    certificate_unreadable: bool = False
    is_commissioned: bool = True


def found(signs: Signs) -> tuple[Diagnostic, ...]:
    """Every diagnostic that holds, in the order of the table."""

    def grew(name: str) -> bool:
        return signs.counted.get(name, 0) > 0

    enclosure = signs.enclosure_cdegc
    asked = signs.counted.get("weather_asked", 0)
    noisy = sum(n for name, n in signs.counted.items() if name.startswith("refused_"))
    holds = {
        Diagnostic.SOURCE_SILENT: not signs.alive,
        Diagnostic.SENSOR_FAULT: grew("sensor_fault_frames"),
        Diagnostic.SIMULATED: not signs.is_live,
        Diagnostic.COMMISSIONING: signs.is_live and not signs.is_commissioned,
        Diagnostic.SAMPLES_LOST: grew("samples_lost") or grew("buffer_overrun_frames"),
        Diagnostic.SENSOR_RESTARTED: grew("restarts"),
        Diagnostic.SUPPLY_DIP: grew("supply_dip_frames"),
        Diagnostic.ENCLOSURE: enclosure is not None
        and not ENCLOSURE_CDEGC_MIN <= enclosure <= ENCLOSURE_CDEGC_MAX,
        Diagnostic.CLOCK: not signs.clock_synchronised,
        Diagnostic.STORAGE_LOW: signs.storage_free_ppm < STORAGE_LOW_PPM,
        Diagnostic.UPLINK_AWAY: signs.uplink_away and signs.backlog > BACKLOG_STALE,
        Diagnostic.LINE_NOISY: noisy > NOISY_FRAMES_PER_MIN,
        Diagnostic.WEATHER_SILENT: 0 < asked == signs.counted.get("weather_failed", 0),
    }
    holds |= _of_certificate(signs)
    return tuple(one for one in Diagnostic if holds[one])


def _of_certificate(signs: Signs) -> dict[Diagnostic, bool]:
    """One of the three at most: the nearest."""
    days, (month, week, day) = signs.certificate_days, CERTIFICATE_DAYS
    return {
        Diagnostic.CERTIFICATE_MONTH: days is not None and week < days <= month,
        Diagnostic.CERTIFICATE_WEEK: days is not None and day < days <= week,
        Diagnostic.CERTIFICATE_DAY: days is not None and days <= day,
        Diagnostic.CERTIFICATE_UNREADABLE: signs.certificate_unreadable,
    }


def letter_of(diagnostics: tuple[Diagnostic, ...]) -> Letter:
    """The worst letter of all."""
    letters = {MEANINGS[one].letter for one in diagnostics} | {Letter.GOOD}
    return next(letter for letter in WORST_FIRST if letter in letters)
