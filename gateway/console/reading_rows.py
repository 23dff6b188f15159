"""History rows for pages: one reader opened, columns out, gaps kept."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import cast

from gateway.console.binning import Bins, binned, humidity
from gateway.console.sources import Sources
from gateway.history.loaded import LoadedRows
from gateway.history.store import HistoryFault, SiteReader
from gateway.reading.site import interval_columns, weather_columns
from gateway.trends.columns import Floats, IntervalColumns, Period

SPREAD_BEFORE_US = 3_600_000_000
"""A row may have begun this long before a period and reach into it."""


@contextmanager
def rows_of(sources: Sources, site: str) -> Iterator[LoadedRows | None]:
    """Rows of a site, None where it has no history yet. Raises HistoryFault."""
    if site not in sources.history.sites():
        yield None
        return
    reader = sources.history.reader(site)
    try:
        # One object reads both what units sent and what was loaded.
        yield cast(LoadedRows, reader)
    finally:
        reader.close()


@contextmanager
def reader_of(sources: Sources, site: str) -> Iterator[SiteReader]:
    """A reader of a site. Raises HistoryFault where it has no history."""
    reader = sources.history.reader(site)
    try:
        yield reader
    finally:
        reader.close()


def columns_of(rows: LoadedRows, insulator: str, period: Period) -> IntervalColumns:
    """Rows that touch a period."""
    wide = Period(max(0, period.from_us - SPREAD_BEFORE_US), period.to_us)
    return interval_columns(rows, insulator, wide)


def bins_of(rows: LoadedRows, insulator: str, period: Period, count: int) -> Bins:
    """One insulator's rows in the columns of a plot."""
    return binned(columns_of(rows, insulator, period), period, count)


def humidity_of(rows: LoadedRows, period: Period, count: int) -> Floats:
    """The site's humidity in the same columns."""
    wide = Period(max(0, period.from_us - SPREAD_BEFORE_US), period.to_us)
    return humidity(weather_columns(rows, wide), period, count)


__all__ = ["HistoryFault", "bins_of", "columns_of", "humidity_of", "reader_of", "rows_of"]
