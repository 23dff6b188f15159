"""Which time a report is about: its month, and the two periods that are compared for it."""

from __future__ import annotations

import re

import numpy as np

from edge.wire import Refused
from gateway.reading.periods import YEAR_US, compared_periods
from gateway.trends.columns import DAY_US, Period

JUDGED_DAYS = 92
"""A change is judged over so many days up to the month's end: one month alone has too few wet
nights to tell. Design choice."""

_MONTH = re.compile(r"\d{4}-(0[1-9]|1[0-2])")


def month_of(text: str) -> Period:
    """The UTC month of YYYY-MM. Raises Refused."""
    if not _MONTH.fullmatch(text):
        raise Refused("month", f"--month is {text!r}; it must be YYYY-MM like 2026-10")
    first = np.datetime64(text, "M")
    edges = np.array([first, first + 1]).astype("datetime64[us]").astype(np.int64)
    return Period(int(edges[0]), int(edges[1]))


def month_before(month: Period) -> Period:
    """The month before it."""
    return month_of(str(np.datetime64(month.from_us, "us").astype("datetime64[M]") - 1))


def judged_periods(extent_us: tuple[int, int], month: Period) -> tuple[Period, Period]:
    """(reference, now) of a report. Now ends with the month; the reference is the first year of the
    history, or all before now where that is shorter. Raises Refused where the month has no rows.
    """
    first = extent_us[0] // DAY_US * DAY_US
    if not (extent_us[0] < month.to_us and extent_us[1] > month.from_us):
        known = [str(np.datetime64(one, "us"))[:7] for one in extent_us]
        raise Refused("month", f"the month has no rows; the history has {known[0]} to {known[1]}")
    end = min(month.to_us, -(-extent_us[1] // DAY_US) * DAY_US)
    now_from = end - JUDGED_DAYS * DAY_US
    if now_from - first < JUDGED_DAYS * DAY_US:
        return compared_periods((first, end), None, None)
    return Period(first, min(now_from, first + YEAR_US)), Period(now_from, end)
