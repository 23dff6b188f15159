"""Which two periods of a site's history are compared."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from edge.wire import Refused
from gateway.trends.columns import DAY_US, HOUR_US, Period

YEAR_US = 365 * DAY_US
_BEGIN = datetime(1970, 1, 1, tzinfo=UTC)


def moment_us(text: str) -> int:
    """UTC microseconds of a date or of an RFC 3339 time in UTC. Raises ValueError."""
    moment = datetime.fromisoformat(text.strip())
    if moment.tzinfo is None:
        if moment != datetime.combine(moment.date(), datetime.min.time()) or len(text.strip()) > 10:
            raise ValueError(f"{text!r} has no zone")
        moment = moment.replace(tzinfo=UTC)
    if moment.utcoffset() != timedelta():
        raise ValueError(f"{text!r} is not UTC")
    return (moment - _BEGIN) // timedelta(microseconds=1)


def asked_period(option: str, text: str) -> Period:
    """The period of FROM,TO, end excluded. Raises Refused, saying what is allowed."""
    allowed = "it must be FROM,TO in UTC like 2025-01-01,2025-07-01, the end excluded"
    try:
        start, end = (moment_us(part) for part in text.split(","))
    except ValueError as fault:
        raise Refused("period", f"{option} is {text!r}; {allowed}") from fault
    if not 0 <= start < end:
        raise Refused("period", f"{option} is {text!r}: it ends before it begins; {allowed}")
    return Period(start, end)


def compared_periods(
    extent_us: tuple[int, int], reference: Period | None, now: Period | None
) -> tuple[Period, Period]:
    """(reference, now). What is not asked for follows from the extent of the rows: the reference is
    the first year where there are two or more, else the first half; now is what follows it.

    Raises Refused where the two overlap or nothing is left.
    """
    first = extent_us[0] // DAY_US * DAY_US
    end = max(-(-extent_us[1] // DAY_US) * DAY_US, first + 2 * HOUR_US)
    if reference is None:
        last = end if now is None else min(now.from_us, end)
        reference = _first_part(first, last, whole=now is not None)
    if now is None:
        if reference.to_us >= end:
            raise Refused(
                "period", "no rows after the reference; give --now, or an earlier --reference"
            )
        now = Period(reference.to_us, end)
    if reference.from_us < now.to_us and now.from_us < reference.to_us:
        raise Refused("period", "--reference and --now overlap; they must lie apart")
    return reference, now


def _first_part(first: int, end: int, whole: bool) -> Period:
    if end <= first:
        raise Refused("period", "no rows before --now; give --reference, or a later --now")
    if whole:
        return Period(first, end)
    if end - first >= 2 * YEAR_US:
        return Period(first, first + YEAR_US)
    step = DAY_US if end - first >= 2 * DAY_US else HOUR_US
    return Period(first, first + max(step, (end - first) // 2 // step * step))
