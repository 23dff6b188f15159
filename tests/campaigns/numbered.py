"""Records that carry their number: what is lost, doubled or out of order shows by itself."""

from __future__ import annotations

from edge.records import ConditionChange, HealthRow, IntervalRow, Record, Stream
from tests.edge.keep.builders import MINUTE_US, START_US, alarm, health_row, minute_row

ALARM_EVERY, HEALTH_EVERY = 20, 7


def stream_of(number: int) -> Stream:
    """Where the n-th record goes."""
    if number % ALARM_EVERY == 0:
        return Stream.ALARM
    return Stream.HEALTH if number % HEALTH_EVERY == 0 else Stream.INTERVAL


def record(number: int) -> Record:
    """The n-th record."""
    match stream_of(number):
        case Stream.ALARM:
            return alarm(number)
        case Stream.HEALTH:
            return health_row(number)
        case _:
            return minute_row(number)


def number_of(found: Record | None) -> int | None:
    """The number that a record carries; None for what the unit adds of itself."""
    match found:
        case ConditionChange():
            return found.at_counter
        case HealthRow():
            return (found.start_us - START_US) // MINUTE_US
        case IntervalRow():
            return found.start_counter // 600_000
        case _:
            return None


def numbers(stream: Stream, until: int) -> list[int]:
    """The numbers below `until` that a stream must carry."""
    return [number for number in range(until) if stream_of(number) is stream]
