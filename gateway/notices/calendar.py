"""When the daily test is due, by the time of day of the people who get it. Pure."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo


def day_due(now_us: int, test_at: str, zone: str) -> str:
    """The day (as YYYY-MM-DD) whose test is due or past at a moment."""
    now = datetime.fromtimestamp(now_us / 1_000_000, ZoneInfo(zone))
    due = now.date() if now.time() >= time.fromisoformat(test_at) else now.date() - timedelta(1)
    return due.isoformat()


def next_us(now_us: int, test_at: str, zone: str) -> int:
    """When the next test is due."""
    day = datetime.fromisoformat(day_due(now_us, test_at, zone)) + timedelta(1)
    moment = datetime.combine(day.date(), time.fromisoformat(test_at), ZoneInfo(zone))
    return round(moment.timestamp() * 1_000_000)
