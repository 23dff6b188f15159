"""What the history says of a site: wetness, response, change, exposure, margin, decision. Pure."""

from gateway.trends.change import SiteTrend, compare_periods
from gateway.trends.columns import (
    IntervalColumns,
    MaintenanceRow,
    Period,
    RegisterEntry,
    SiteColumns,
    WeatherColumns,
)

__all__ = [
    "IntervalColumns",
    "MaintenanceRow",
    "Period",
    "RegisterEntry",
    "SiteColumns",
    "SiteTrend",
    "WeatherColumns",
    "compare_periods",
]
