"""Dates, times, time zones and clock quality of a recording."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, tzinfo

from edge.recording.faults import RecordingError, excerpt
from edge.recording.model import Revision, TimeQuality

_DATE = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4}|[0-9]{2})")
_TIME = re.compile(r"([0-9]{1,2}):([0-9]{1,2}):([0-9]{1,2})(?:\.([0-9]{1,9}))?")
_ZONE = re.compile(r"([+-]?)([0-9]{1,2})(?:[hH]([0-9]{2}))?")

CENTURY_PIVOT = 70
"""A year of two digits from here on is 19xx, below it 20xx (common practice)."""

YEAR_MIN = 1970
"""An earlier year is refused: such a clock was never set."""

ZONE_MINUTES_MAX = 15 * 60
"""A larger difference from UTC is refused."""

SYNCHRONISED_ERROR_NS_MAX = 1_000_000
"""A clock in holdover still counts as disciplined up to this stated error (design choice: 1 ms is
an eighth of a half-cycle at 60 Hz and matters to no row)."""

UNSTATED_ERROR_NS = 1_000_000_000
"""Error given to a record that says nothing of its clock (design choice). It is not marked as
unsynchronised, for it does not say so; it carries `time-zone-assumed` unless the caller knew."""

FAULT_ERROR_NS = 86_400_000_000_000
"""Error given to a clock that its record calls unreliable: a day."""

QUALITY_ERROR_NS: dict[str, int] = (
    {"0": 0} | {str(n): 10 ** (n - 1) for n in range(1, 10)} | {"A": 10**9, "B": 10**10}
)
"""Time quality code to stated error [ns]: 0 locked, 1 to 9 within 1 ns to 100 ms, A 1 s, B 10 s
(as in the sttp TimeQuality table and COMTRADE.jl, read); F is a fault."""

_REMEDY = "correct the line or fetch the file again"


def naive_ns(date: str, time: str, revision: Revision, where: str) -> tuple[int, bool]:
    """Nanoseconds since 1970-01-01 on the recorder's own clock, and whether it counts in ns.

    1991: month/day/year (the order that the `comtrade` reader gives it), later: day/month/year.
    Second 60 is a leap second and equals the first one after it.
    """
    found_date, found_time = _DATE.fullmatch(date), _TIME.fullmatch(time)
    order = "mm/dd/yy or mm/dd/yyyy" if revision is Revision.R1991 else "dd/mm/yyyy"
    allowed = f"{order},hh:mm:ss.ssssss for revision {revision}, from {YEAR_MIN}"
    if not found_date or not found_time:
        raise RecordingError(where, f"time is {excerpt(f'{date},{time}')}", allowed, _REMEDY)
    first, second, year = (int(part) for part in found_date.groups())
    day, month = (second, first) if revision is Revision.R1991 else (first, second)
    if len(found_date[3]) == 2:
        year += 1900 if year >= CENTURY_PIVOT else 2000
    hours, minutes, seconds = (int(part) for part in found_time.groups()[:3])
    fraction = found_time[4] or ""
    try:
        midnight = datetime(year, month, day, hours, minutes, min(seconds, 59), tzinfo=UTC)
    except ValueError:
        midnight = None
    if midnight is None or seconds > 60 or year < YEAR_MIN:
        raise RecordingError(where, f"time is {excerpt(f'{date},{time}')}", allowed, _REMEDY)
    whole_s = int((midnight - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(seconds=1))
    whole_s += max(seconds - 59, 0)
    return whole_s * 10**9 + int(fraction.ljust(9, "0")), len(fraction) > 6


def zone_minutes(code: str, where: str) -> int:
    """Difference of the stamps from UTC [min] from a time code such as `-5h30`, `+1`, `0`."""
    found = _ZONE.fullmatch(code)
    minutes = int(found[2]) * 60 + int(found[3] or 0) if found else ZONE_MINUTES_MAX + 1
    if found is None or minutes > ZONE_MINUTES_MAX or int(found[3] or 0) > 59:
        raise RecordingError(
            where, f"time code is {excerpt(code)}", "hours and minutes such as -5h30", _REMEDY
        )
    return -minutes if found[1] == "-" else minutes


def utc_ns(naive: int, zone: tzinfo, where: str) -> int:
    """UTC [ns] of a stamp read in `zone`; the earlier one where a clock change doubles it."""
    try:
        local = datetime(1970, 1, 1) + timedelta(seconds=naive // 10**9)
        offset = local.replace(tzinfo=zone).utcoffset() or timedelta(0)
    except OverflowError as fault:
        raise RecordingError(where, "a time at the end of the calendar", "to 9999", _REMEDY) from (
            fault
        )
    shifted = naive - offset // timedelta(microseconds=1) * 1000
    if shifted < 0:
        raise RecordingError(where, "a time before 1970 in UTC", f"from {YEAR_MIN}", _REMEDY)
    return shifted


def quality_of(code: str, resolution_ns: int, where: str) -> TimeQuality:
    """Clock quality from its code; never better than the stamp's own resolution."""
    letter = code.upper()
    if letter == "F":
        return TimeQuality(True, False, FAULT_ERROR_NS)
    if letter not in QUALITY_ERROR_NS:
        raise RecordingError(
            where, f"time quality is {excerpt(code)}", "0 to 9, A, B or F", _REMEDY
        )
    error_ns = QUALITY_ERROR_NS[letter]
    synchronised = error_ns <= SYNCHRONISED_ERROR_NS_MAX
    return TimeQuality(True, synchronised, max(error_ns, resolution_ns))


def quality_code(error_ns: int, synchronised: bool) -> str:
    """The smallest code that covers an error, for writing; 0 only for a locked clock."""
    if synchronised and error_ns <= 1_000:
        return "0"
    fitting = [code for code, bound in QUALITY_ERROR_NS.items() if code != "0" if bound >= error_ns]
    return fitting[0] if fitting else "F"


UNSTATED = TimeQuality(False, True, UNSTATED_ERROR_NS)
