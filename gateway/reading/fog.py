"""The night ahead of a site: its history, its latest humidity forecast, and what that would do."""

from __future__ import annotations

from edge.wire import Refused
from gateway.history.loaded import Columns, LoadedRows
from gateway.reading.notes import dead_spans, maintenance_rows
from gateway.reading.periods import moment_us
from gateway.reading.site import InsulatorRows, extent_us, forecast_columns, weather_columns
from gateway.trends.columns import HOUR_US, Period, SiteColumns, WeatherColumns
from gateway.trends.forecast import HISTORY_DAYS, HOURS_MOST, NightForecast, forecast_night

DAY_AHEAD_US = 2 * HOURS_MOST * HOUR_US
"""Forecast rows further ahead are not looked at."""


def night_ahead(
    rows: LoadedRows, site: str, known_until_us: int | None, humidity_sd_pct: float
) -> tuple[str, dict[str, NightForecast]]:
    """(when the forecast was issued, what is expected of each insulator by name).

    known_until_us: as if nothing later were known; None: the end of the rows. Raises Refused where
    there are no rows, no weather, or no forecast that lies ahead.
    """
    extent = extent_us(rows, Columns.INTERVAL)
    if extent is None:
        raise Refused("no-rows", f"site {site!r} has no interval rows; load some")
    until = extent[1] if known_until_us is None else known_until_us
    issued, ahead = _latest(rows, site, until, known_until_us is not None)
    past = Period(until - HISTORY_DAYS * 24 * HOUR_US, until)
    weather = weather_columns(rows, past)
    if weather is None:
        raise Refused("no-weather", f"site {site!r} has no weather rows; no night is known by its")
    columns = SiteColumns(site, InsulatorRows(rows, past, sums=(), dead=dead_spans(rows)))
    work = maintenance_rows(rows)
    return issued, forecast_night(columns, weather, ahead, until, work, humidity_sd_pct)


def _latest(
    rows: LoadedRows, site: str, until_us: int, only_before: bool
) -> tuple[str, WeatherColumns]:
    """The latest forecast with rows ahead; one issued later than asked for was not yet known."""
    ahead = Period(until_us, until_us + DAY_AHEAD_US)
    for issued in reversed(rows.forecast_issues()):
        if only_before and moment_us(issued) > until_us:
            continue
        found = forecast_columns(rows, issued, ahead)
        if found is not None:
            return issued, found
    raise Refused(
        "no-forecast",
        f"site {site!r} has no forecast of the two days ahead; load rows with the columns "
        "issued,start,seconds,rh_pct",
    )
