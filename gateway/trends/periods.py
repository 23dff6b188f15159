"""The two periods that are compared where nobody names them."""

from __future__ import annotations

from gateway.trends.columns import DAY_US, Period

YEAR_DAYS = 365
SHORTEST_DAYS = 2
"""A history shorter than this has no two periods."""


def usual_periods(first_us: int, end_us: int) -> tuple[Period, Period] | None:
    """Reference and now of a history: its first year and its last one, so that season stands
    against season; its two halves where it is shorter than two years. None for under two days.
    """
    days = (end_us - first_us) // DAY_US
    if days < SHORTEST_DAYS:
        return None
    span_us = min(YEAR_DAYS, days // 2) * DAY_US
    return Period(first_us, first_us + span_us), Period(end_us - span_us, end_us)
