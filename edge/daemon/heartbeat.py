"""The health record of every minute: when it is due, and what goes into it. Pure.

Minutes are those of the signal's own time, so that `decide` reads health and rows in one order; the
clock's minutes stand in while no samples come.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import ceil

from edge.daemon import diagnostics
from edge.daemon.diagnostics import Signs
from edge.daemon.expiry import NOT_KNOWN, Expiry
from edge.daemon.noise import quieter
from edge.quantities import BY_NAME, Flag
from edge.records import HealthRow, LineStatus
from edge.version import __version__

MINUTE_US = 60_000_000

READING_STALE_US = 3 * MINUTE_US
"""A slow reading is believed for this long; then it is unknown."""

LINE_STATUS = "line_status"
LINE_STATUSES = {1: LineStatus.IN_SERVICE, 2: LineStatus.OUT_OF_SERVICE}
"""Codes of the sensor unit's line-status input; every other code is unknown."""

OWN_READINGS = (LINE_STATUS, "supply_mv", "enclosure_cdegc")
"""Slow readings of the unit itself; the others are weather."""


@dataclass(frozen=True, slots=True)
class Heart:
    """start_us: of the running minute's record, -1 before anything. samples: rows in it so far.

    readings: by name, with the time at which each was heard. counters: of the source, at the last
    record. stepped: the clock was stepped within the minute. noise_na: by channel, the quietest
    moment of the minute.
    """

    start_us: int = -1
    samples: int = 0
    readings: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    counters: Mapping[str, int] = field(default_factory=dict)
    stepped: bool = False
    noise_na: Mapping[str, int] = field(default_factory=dict)

    @property
    def end_us(self) -> int:
        """When the running minute is over."""
        return (self.start_us // MINUTE_US + 1) * MINUTE_US


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How the unit stands at the end of a minute."""

    clock_source: str
    clock_synchronised: bool
    clock_error_us: int | None
    storage_free_ppm: int
    backlog: int
    uplink_away: bool
    is_live: bool
    has_line_input: bool
    counters: Mapping[str, int]
    settings_sha: str
    is_commissioned: bool = True
    firmware: str = ""
    certificate: Expiry = NOT_KNOWN


def begun(heart: Heart, at_us: int) -> Heart:
    """The heart at a moment of the signal: begun anew after a jump in either direction."""
    if heart.start_us < 0:
        return replace(heart, start_us=at_us)
    if at_us < heart.start_us - MINUTE_US:
        return replace(heart, start_us=at_us, stepped=True)
    return heart


def rows_until_due(heart: Heart, at_us: int, rate_hz: float) -> int:
    """Rows from the moment `at_us` on that still belong to the running minute."""
    return max(0, ceil((heart.end_us - at_us) * rate_hz / 1e6))


def counted_in(heart: Heart, rows: int) -> Heart:
    """With so many more samples."""
    return replace(heart, samples=heart.samples + rows)


def listened(heart: Heart, noise_na: Mapping[str, int]) -> Heart:
    """With what some samples say of the converter's noise."""
    return replace(heart, noise_na=quieter(heart.noise_na, noise_na)) if noise_na else heart


def heard(heart: Heart, readings: Mapping[str, int], at_us: int) -> Heart:
    """With the unit's own among these readings; those out of range are left out."""
    own = {
        name: (units, at_us)
        for name, units in readings.items()
        if name == LINE_STATUS
        or (name in OWN_READINGS and BY_NAME[name].low <= units <= BY_NAME[name].high)
    }
    return replace(heart, readings={**heart.readings, **own}) if own else heart


def beat(heart: Heart, until_us: int, now_us: int, standing: Standing) -> tuple[Heart, HealthRow]:
    """The record of the running minute, ended at `until_us`, and the heart of the next one.

    now_us: the moment of the signal; later than until_us after a gap, whose minutes get no record.
    """
    fresh = {
        name: units
        for name, (units, at_us) in heart.readings.items()
        if 0 <= until_us - at_us <= READING_STALE_US
    }
    flags = [Flag.CLOCK_STEP.value] if heart.stepped else []
    flags += [] if standing.clock_synchronised else [Flag.CLOCK_UNSYNCHRONISED.value]
    said = diagnostics.found(_signs(heart, standing, fresh))
    row = HealthRow(
        start_us=heart.start_us,
        duration_us=max(0, until_us - heart.start_us),
        clock_source=standing.clock_source,
        clock_synchronised=standing.clock_synchronised,
        clock_error_us=standing.clock_error_us,
        storage_free_ppm=standing.storage_free_ppm,
        backlog=standing.backlog,
        samples=heart.samples,
        source_alive=heart.samples > 0,
        line_status=_line_status(fresh, standing),
        supply_mv=fresh.get("supply_mv"),
        enclosure_cdegc=fresh.get("enclosure_cdegc"),
        noise_na=dict(sorted(heart.noise_na.items())),
        certificate_days=standing.certificate.days,
        link_counters=dict(sorted(standing.counters.items())),
        letter=diagnostics.letter_of(said),
        reasons=tuple(one.value for one in said),
        software=__version__,
        firmware=standing.firmware,
        settings_sha=standing.settings_sha,
        flags=tuple(sorted(flags)),
    )
    start_us = max(until_us, now_us // MINUTE_US * MINUTE_US)
    return Heart(start_us, 0, heart.readings, dict(standing.counters)), row


def _signs(heart: Heart, standing: Standing, fresh: Mapping[str, int]) -> Signs:
    return Signs(
        alive=heart.samples > 0,
        is_live=standing.is_live,
        clock_synchronised=standing.clock_synchronised,
        storage_free_ppm=standing.storage_free_ppm,
        backlog=standing.backlog,
        uplink_away=standing.uplink_away,
        counted={
            name: count - heart.counters.get(name, 0) for name, count in standing.counters.items()
        },
        enclosure_cdegc=fresh.get("enclosure_cdegc"),
        certificate_days=standing.certificate.days,
        certificate_unreadable=bool(standing.certificate.unreadable),
        is_commissioned=standing.is_commissioned,
    )


def _line_status(fresh: Mapping[str, int], standing: Standing) -> LineStatus:
    if not standing.has_line_input:
        return LineStatus.UNKNOWN
    return LINE_STATUSES.get(fresh.get(LINE_STATUS, 0), LineStatus.UNKNOWN)
