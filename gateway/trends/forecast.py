"""What the next fog would do: the range of a coming night's current and arcing, from like nights.

Entry: `forecast_night`. Each past night is the same stretch of the day as the coming one. How wet
it was (the highest humidity as a lagging film feels it) predicts its highest hourly current; how
far nights missed what earlier nights said of them is the interval. So the interval is one of whole
nights, learnt only from errors made before the fact (split conformal prediction; standard
statistics), and holds whatever the shape of the response. A coming night that is wetter than every
known one, a sensor in doubt, work on the insulator since: each is said as a reservation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from gateway.trends.columns import (
    HOUR_US,
    Action,
    Bools,
    Floats,
    MaintenanceRow,
    Period,
    SiteColumns,
    WeatherColumns,
    actions_for,
)
from gateway.trends.hours import CurrentHours, SiteHours, current_hours, site_hours
from gateway.trends.nights import Night, Nights, interval_of, lagged_humidity, nights_of
from gateway.trends.sensor import self_test_of, silent_hours

LEVEL = 0.90
"""Of ten nights nine should fall within what is said of them."""
HISTORY_DAYS = 400
"""Older nights are not looked at: the surface was another."""
HOURS_MOST = 24
"""A forecast of more than a day is cut to its first day."""
SILENT_SHARE = 0.5
"""With no current in so many of the last hours the sensor or the line is in doubt."""
LAST_HOURS = 48
WORK_DAYS = 30
"""Work on the insulator within so many days is said: few nights have seen the surface since."""
WORK = (Action.WASH, Action.RECOAT, Action.REPLACE, Action.SENSOR)
OUTSIDE_PCT = 1.0
"""A night so much wetter than all known ones [% RH] is beyond experience."""

WETTER = "wetter than every night known of this insulator: the range is a guess beyond experience"
HUMIDITY_TAKEN = "the humidity forecast is taken as it is: its own error is not in the range"
NO_MARGIN = "a range of what like nights did, no protection: an arcing surface can flash over below"


@dataclass(frozen=True, slots=True)
class NightForecast:
    """What is expected of one insulator from `from_us` to `to_us` (UTC, end excluded).

    current_ma: the highest hourly current of the night [mA], its middle expectation, low and high
    end of the interval at `level`; the same current as `gateway.trends.hours.CurrentHours` has:
    resistive where it is known, else r.m.s. of everything (root mean square of the rows of an hour,
    dry current included), at the median voltage where the voltage is known. arcing_*: arcing
    half-cycles of the night; as counts pile up at zero their interval holds more often than stated.
    arcing_chance: share of like nights that had any. wettest_pct: the highest humidity of the
    forecast as a lagging film feels it. nights: past nights that it rests on; like: how many of
    them count for about this wetness. None where it cannot be said; `why` says why.
    """

    insulator: str
    from_us: int
    to_us: int
    level: float
    current_ma: float | None
    current_low_ma: float | None
    current_high_ma: float | None
    arcing_halfcycles: float | None
    arcing_low: float | None
    arcing_high: float | None
    arcing_chance: float | None
    wettest_pct: float | None
    nights: int
    like: float
    reservations: tuple[str, ...]
    why: str = ""


def forecast_night(
    columns: SiteColumns,
    weather: WeatherColumns,
    forecast: WeatherColumns,
    known_until_us: int,
    maintenance: Sequence[MaintenanceRow] = (),
    humidity_sd_pct: float = 0.0,
    level: float = LEVEL,
) -> dict[str, NightForecast]:
    """The forecast of every insulator by name.

    columns, weather: the history; rows that start at or after `known_until_us` are not looked at.
    forecast: rows of forecast weather that start at or after it (humidity is what counts; hours
    without a row are left out); what lies beyond a day is cut off. humidity_sd_pct: how far the
    humidity forecast itself usually errs for a night [% RH, standard deviation]; 0 takes it as
    certain. level: how often the truth should fall within.
    """
    span = forecast_span(forecast, known_until_us)
    begin = known_until_us - HISTORY_DAYS * 24 * HOUR_US
    grid = site_hours(_together(weather, forecast, known_until_us), begin, span.to_us)
    lagged = lagged_humidity(grid)
    found = {}
    for name in sorted(columns.insulators):
        current = current_hours(columns.insulators[name], grid)
        current = _known(current, grid.place(known_until_us))
        work = actions_for(maintenance, name, *WORK)
        asked = (span, work, humidity_sd_pct, level, lagged)
        found[name] = forecast_of(name, grid, current, *asked)
    return found


def forecast_span(forecast: WeatherColumns, known_until_us: int) -> Period:
    """From the first whole hour of the forecast, not before what is known, for at most a day.

    Raises ValueError where no row of the forecast lies ahead.
    """
    ahead = forecast.start_us >= known_until_us
    if not bool(np.any(ahead)):
        raise ValueError("no forecast row starts at or after the moment up to which rows are known")
    first = -(-int(np.min(forecast.start_us[ahead])) // HOUR_US) * HOUR_US
    end = int(np.max((forecast.start_us + forecast.duration_us)[ahead]))
    end = max(-(-end // HOUR_US) * HOUR_US, first + HOUR_US)
    return Period(first, min(end, first + HOURS_MOST * HOUR_US))


def forecast_of(
    name: str,
    grid: SiteHours,
    current: CurrentHours,
    span: Period,
    work: Sequence[MaintenanceRow] = (),
    humidity_sd_pct: float = 0.0,
    level: float = LEVEL,
    lagged: Floats | None = None,
) -> NightForecast:
    """The forecast of one insulator on a grid that reaches to the end of the forecast.

    current: nothing known from the beginning of `span` on. work: what was done to it, in order.
    lagged: `lagged_humidity` of the grid, where it is known already.
    """
    first, after = grid.place(span.from_us), grid.place(span.to_us)
    before = np.arange(grid.count) < first
    doubt = _sensor_doubt(current, grid, before)
    silent = _silent(current, grid, before)
    seen = np.where(silent, np.nan, current.current_ma)
    nights = nights_of(grid, seen, current.arcing, first, after, humidity_sd_pct, lagged)
    night = interval_of(nights, level) if not doubt else None
    if night is None:
        return _unsaid(name, span, level, nights, doubt or nights.why)
    said = [NO_MARGIN]
    if night.wettest_pct > nights.wettest_known_pct + OUTSIDE_PCT:
        said.append(WETTER)
    if humidity_sd_pct == 0.0:
        said.append(HUMIDITY_TAKEN)
    said += _work_since(work, span.from_us)
    return _said(name, span, level, nights, night, tuple(said))


def _said(
    name: str, span: Period, level: float, nights: Nights, night: Night, said: tuple[str, ...]
) -> NightForecast:
    return NightForecast(
        insulator=name,
        from_us=span.from_us,
        to_us=span.to_us,
        level=level,
        current_ma=night.current_ma[1],
        current_low_ma=night.current_ma[0],
        current_high_ma=night.current_ma[2],
        arcing_halfcycles=night.arcing[1],
        arcing_low=night.arcing[0],
        arcing_high=night.arcing[2],
        arcing_chance=night.arcing_chance,
        wettest_pct=night.wettest_pct,
        nights=nights.count,
        like=night.like,
        reservations=said,
    )


def _unsaid(name: str, span: Period, level: float, nights: Nights, why: str) -> NightForecast:
    return NightForecast(
        name, span.from_us, span.to_us, level, None, None, None, None, None, None, None,
        nights.wettest_coming_pct, nights.count, 0.0, (NO_MARGIN,), why,
    )  # fmt: skip


def _together(
    weather: WeatherColumns, forecast: WeatherColumns, known_until_us: int
) -> WeatherColumns:
    """Measured rows before the moment, forecast ones after it; only what a surface feels."""
    parts = ((weather, weather.start_us < known_until_us),
             (forecast, forecast.start_us >= known_until_us))  # fmt: skip
    times = [np.concatenate([getattr(one, name)[kept] for one, kept in parts])
             for name in ("start_us", "duration_us", "rh_pct")]  # fmt: skip
    return WeatherColumns(*times)


def _known(current: CurrentHours, first: int) -> CurrentHours:
    """Without what happened from place `first` on."""
    before = np.arange(current.current_ma.shape[0]) < first
    return replace(
        current,
        current_ma=np.where(before, current.current_ma, np.nan),
        total_ma=np.where(before, current.total_ma, np.nan),
        arcing=np.where(before, current.arcing, 0.0),
    )


def _silent(current: CurrentHours, grid: SiteHours, before: Bools) -> Bools:
    return silent_hours(current, self_test_of(current, grid, before).level_ma)


def _sensor_doubt(current: CurrentHours, grid: SiteHours, before: Bools) -> str:
    """Why the last days' current cannot be believed; "" where it can."""
    last = np.flatnonzero(before)[-LAST_HOURS:]
    reported = np.isfinite(current.total_ma[last])
    if not bool(np.any(reported)):
        return f"no good rows in the last {LAST_HOURS} hours"
    silent = _silent(current, grid, before)[last]
    if float(np.mean(silent[reported])) >= SILENT_SHARE:
        return "no current of late: the sensor, its lead or the line is in doubt"
    return ""


def _work_since(work: Sequence[MaintenanceRow], at_us: int) -> list[str]:
    begin = at_us - WORK_DAYS * 24 * HOUR_US
    recent = [one for one in work if begin <= one.start_us < at_us]
    if not recent:
        return []
    days = (at_us - recent[-1].start_us) // (24 * HOUR_US)
    return [f"{recent[-1].action.value} {days} days ago: few nights have seen the surface since"]
