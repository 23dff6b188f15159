"""Rows of any length onto one hourly grid: the weather's, then each insulator's beside it.

An hour is short against a wet night and long against the noise of a row, and weather is mostly
known by the hour. Currents are put together as root mean square over the good cover of the hour.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from edge.quantities import STATES, State
from gateway.trends.columns import (
    HOUR_US,
    Bools,
    Findings,
    Floats,
    IntervalColumns,
    Ints,
    WeatherColumns,
)

RH_FULL_PCT = 105.0
"""A probe in fog may read a little over 100 %: up to this it counts as 100; beyond, impossible."""
AIR_LOW_C, AIR_HIGH_C = -60.0, 60.0
"""Outside it an air temperature is impossible (a wrong unit, mostly) and left out."""
FRACTION_MOST = 1.5
"""Humidity that never exceeds this is a fraction or dead, not per cent: all of it is left out."""
HOUR_GOOD_S = 900.0
"""An hour counts when good rows cover this much of it (or one row, where rows are sparse)."""
HOURS_MOST = 24 * 366 * 40
"""A grid longer than 40 years means broken clocks; the rows outside are left out and flagged."""

_DEAD = (STATES.index(State.DE_ENERGISED), STATES.index(State.UNKNOWN))


@dataclass(frozen=True, slots=True, eq=False)
class SiteHours:
    """The weather on whole UTC hours, NaN where unknown; `first_hour` counts from 1970."""

    first_hour: int
    rh_pct: Floats
    air_c: Floats
    dew_point_c: Floats
    rain_mm: Floats
    wind_m_s: Floats
    wind_from_deg: Floats
    uv_w_m2: Floats
    found: Findings

    @property
    def count(self) -> int:
        """Hours of the grid."""
        return int(self.rh_pct.shape[0])

    def place(self, at_us: int) -> int:
        """Place of the hour of a time, kept within the grid."""
        return int(np.clip(-(-at_us // HOUR_US) - self.first_hour, 0, self.count))


@dataclass(frozen=True, slots=True, eq=False)
class CurrentHours:
    """One insulator on the same grid.

    current_ma: resistive where known, else r.m.s., over the good rows of the hour; NaN where less
    than a quarter is good. total_ma: r.m.s. of the whole current. in_phase: whether current_ma is
    the resistive part alone. conductance: whether it is scaled to the median voltage.
    arcing, halfcycles: counts. peak_ma: the highest current, NaN where not known. cover_s: of all
    rows, good or not.
    """

    current_ma: Floats
    total_ma: Floats
    arcing: Floats
    halfcycles: Floats
    peak_ma: Floats
    cover_s: Floats
    in_phase: bool
    conductance: bool
    found: Findings


def site_hours(weather: WeatherColumns, from_us: int, to_us: int) -> SiteHours:
    """The weather by the hour, impossible readings left out and said."""
    first = from_us // HOUR_US
    count = min(max(1, -(-to_us // HOUR_US) - first), HOURS_MOST)
    hour = (weather.start_us + weather.duration_us // 2) // HOUR_US - first
    kept = (hour >= 0) & (hour < count) & (weather.duration_us > 0)
    rh, found = _humidity(weather.rh_pct)
    air, found = _air(weather, found)
    kept_hour, seconds = hour[kept], weather.duration_us[kept].astype(np.float64) * 1e-6

    def mean(column: Floats | None) -> Floats:
        return _mean(kept_hour, None if column is None else column[kept], seconds, count)

    return SiteHours(
        first_hour=int(first),
        rh_pct=mean(rh),
        air_c=mean(air),
        dew_point_c=mean(weather.dew_point_c),
        rain_mm=_total(
            kept_hour, None if weather.rain_mm is None else weather.rain_mm[kept], count
        ),
        wind_m_s=mean(weather.wind_m_s),
        wind_from_deg=_direction(kept_hour, weather, kept, count),
        uv_w_m2=mean(weather.uv_w_m2),
        found=found,
    )


def _humidity(rh_pct: Floats) -> tuple[Floats, Findings]:
    found = Findings()
    known = rh_pct[np.isfinite(rh_pct)]
    if known.size and float(np.max(known)) <= FRACTION_MOST:
        found = found.add("humidity-not-in-per-cent")
        return np.full_like(rh_pct, np.nan), found
    impossible = (rh_pct <= 0.0) | (rh_pct > RH_FULL_PCT)
    if bool(np.any(impossible)):
        found = found.add("impossible-weather")
    return np.where(impossible, np.nan, np.minimum(rh_pct, 100.0)), found


def _air(weather: WeatherColumns, found: Findings) -> tuple[Floats | None, Findings]:
    if weather.air_c is None:
        return None, found
    impossible = (weather.air_c < AIR_LOW_C) | (weather.air_c > AIR_HIGH_C)
    if bool(np.any(impossible)):
        found = found.add("impossible-weather")
    return np.where(impossible, np.nan, weather.air_c), found


def _mean(hour: Ints, column: Floats | None, seconds: Floats, count: int) -> Floats:
    if column is None:
        return np.full(count, np.nan)
    good = np.isfinite(column)
    weight = np.bincount(hour[good], seconds[good], count)
    total = np.bincount(hour[good], seconds[good] * column[good], count)
    return np.asarray(np.where(weight > 0, total / np.maximum(weight, 1e-9), np.nan))


def _total(hour: Ints, column: Floats | None, count: int) -> Floats:
    if column is None:
        return np.full(count, np.nan)
    good = np.isfinite(column) & (column >= 0)
    known = np.bincount(hour[good], minlength=count) > 0
    return np.asarray(np.where(known, np.bincount(hour[good], column[good], count), np.nan))


def _direction(hour: Ints, weather: WeatherColumns, kept: Bools, count: int) -> Floats:
    """Mean direction by the vector mean; degrees cannot be averaged across north."""
    if weather.wind_from_deg is None:
        return np.full(count, np.nan)
    angle = np.radians(weather.wind_from_deg[kept])
    ones = np.ones(hour.shape[0])
    east = _mean(hour, np.sin(angle), ones, count)
    north = _mean(hour, np.cos(angle), ones, count)
    return np.asarray(np.degrees(np.arctan2(east, north)) % 360.0)


def current_hours(rows: IntervalColumns, grid: SiteHours) -> CurrentHours:
    """One insulator's rows on the grid of the weather."""
    rows, found = in_order(rows)
    hour = (rows.start_us + rows.duration_us // 2) // HOUR_US - grid.first_hour
    inside = (hour >= 0) & (hour < grid.count) & (rows.duration_us > 0)
    milliamperes, in_phase, found = _current_ma(rows, found)
    milliamperes, conductance = _at_median_voltage(rows, milliamperes)
    good = inside & np.isfinite(milliamperes) & usable(rows)
    seconds = rows.duration_us.astype(np.float64) * 1e-6
    good_s = np.bincount(hour[good], seconds[good], grid.count)
    squares = np.bincount(hour[good], seconds[good] * milliamperes[good] ** 2, grid.count)
    row_s = float(np.median(seconds)) if seconds.size else 1.0
    enough = good_s >= min(HOUR_GOOD_S, 0.9 * row_s)
    current = np.sqrt(squares / np.where(enough, good_s, np.nan))
    total = current
    if in_phase and rows.rms_na is not None:
        total = _mean(hour[good], rows.rms_na[good] * 1e-6, seconds[good], grid.count)
    return CurrentHours(
        current_ma=current,
        total_ma=total,
        arcing=_counts(hour, rows.arcing_halfcycles, good, grid.count),
        halfcycles=_counts(hour, rows.halfcycles, good, grid.count),
        peak_ma=_highest(hour, rows.peak_ua, good, grid.count),
        cover_s=np.asarray(np.bincount(hour[inside], seconds[inside], grid.count), np.float64),
        in_phase=in_phase,
        conductance=conductance,
        found=found,
    )


def _counts(hour: Ints, column: Ints | None, good: Bools, count: int) -> Floats:
    if column is None:
        return np.zeros(count)
    return np.asarray(np.bincount(hour[good], column[good], count))


def _highest(hour: Ints, peak_ua: Floats | None, good: Bools, count: int) -> Floats:
    """Highest of each hour [mA]; rows are in order of time."""
    highest = np.full(count, np.nan)
    if peak_ua is None:
        return highest
    kept = good & np.isfinite(peak_ua)
    hours = hour[kept]
    if hours.size:
        starts = np.flatnonzero(np.diff(hours, prepend=hours[0] - 1))
        highest[hours[starts]] = np.maximum.reduceat(peak_ua[kept], starts) * 1e-3
    return highest


def in_order(rows: IntervalColumns) -> tuple[IntervalColumns, Findings]:
    """Rows in order of time without those that overlap an earlier one; says what was left out."""
    found = Findings()
    start = rows.start_us
    if start.size and bool(np.any(np.diff(start) < 0)):
        rows = select(rows, np.argsort(start, kind="stable"))
        found = found.add("rows-out-of-order")
    end = rows.start_us + rows.duration_us
    if bool(np.any(rows.start_us[1:] < end[:-1])):
        rows = select(rows, _apart(rows.start_us.tolist(), end.tolist()))
        found = found.add("overlapping-rows")
    return rows, found


def _apart(start_us: list[int], end_us: list[int]) -> Ints:
    """Places of rows that begin at or after the end of the last one that was kept."""
    kept, covered_us = [], start_us[0]
    for place, (start, end) in enumerate(zip(start_us, end_us, strict=True)):
        if start >= covered_us:
            kept.append(place)
            covered_us = max(end, start)
    return np.asarray(kept, dtype=np.int64)


def select(rows: IntervalColumns, places: Ints) -> IntervalColumns:
    """The rows at these places, in that order."""
    columns = ((name, getattr(rows, name)) for name in rows.__slots__)
    chosen: dict[str, Any] = {
        name: None if column is None else column[places] for name, column in columns
    }
    return IntervalColumns(**chosen)


def usable(rows: IntervalColumns) -> Bools:
    """Rows of an energised insulator whose current is not doubted."""
    good = np.ones(rows.start_us.shape[0], dtype=np.bool_)
    if rows.doubted is not None:
        good &= ~rows.doubted
    if rows.state_us is not None:
        dead_us = rows.state_us[:, _DEAD[0]] + rows.state_us[:, _DEAD[1]]
        good &= 2 * dead_us <= rows.duration_us
    elif rows.state is not None:
        good &= (rows.state != _DEAD[0]) & (rows.state != _DEAD[1])
    return good


def _current_ma(rows: IntervalColumns, found: Findings) -> tuple[Floats, bool, Findings]:
    """The resistive current where it is known, else r.m.s., else from peak or charge (said)."""
    if rows.in_phase_na is not None and np.isfinite(rows.in_phase_na).mean() > 0.5:
        return np.maximum(rows.in_phase_na, 0.0) * 1e-6, True, found
    if rows.rms_na is not None and bool(np.any(np.isfinite(rows.rms_na))):
        return rows.rms_na * 1e-6, False, found
    if rows.charge_nc is not None:
        mean_ma = rows.charge_nc / np.maximum(rows.duration_us, 1)
        return mean_ma * (np.pi / (2 * np.sqrt(2))), False, found.add("rms-from-charge")
    if rows.peak_ua is not None:
        return rows.peak_ua * 1e-3 / np.sqrt(2), False, found.add("rms-from-peak")
    return np.full(rows.start_us.shape[0], np.nan), False, found.add("no-current")


def _at_median_voltage(rows: IntervalColumns, current_ma: Floats) -> tuple[Floats, bool]:
    """Current at the site's median voltage: what the conductance would give there."""
    if rows.voltage_mv is None:
        return current_ma, False
    live = rows.voltage_mv[rows.voltage_mv > 0]
    if not live.size:
        return current_ma, False
    usual = float(np.median(live))
    share = rows.voltage_mv / usual
    scaled = np.where(share > 0.5, current_ma / np.where(share > 0.5, share, 1.0), np.nan)
    return np.where(np.isfinite(share), scaled, current_ma), True
