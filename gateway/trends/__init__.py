"""What the history says of a site: wetness, response, change, exposure, margin, decision. Pure."""

from gateway.trends.change import InsulatorTrend, SiteTrend, compare_periods
from gateway.trends.columns import (
    Action,
    IntervalColumns,
    MaintenanceRow,
    Period,
    RegisterEntry,
    SiteColumns,
    SurfaceType,
    WeatherColumns,
)
from gateway.trends.document import trend_document

__all__ = [
    "Action",
    "InsulatorTrend",
    "IntervalColumns",
    "MaintenanceRow",
    "Period",
    "RegisterEntry",
    "SiteColumns",
    "SiteTrend",
    "SurfaceType",
    "WeatherColumns",
    "compare_periods",
    "trend_document",
]
