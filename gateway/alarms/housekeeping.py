"""What time alone ends: shelves. And what it must not let anybody forget: work orders."""

from __future__ import annotations

from collections.abc import Iterator

from gateway.alarms.journal import GATEWAY, Entry, Point, What
from gateway.alarms.memory import AlarmList, Kept
from gateway.alarms.sight import Sight

REMIND_US = 24 * 3_600_000_000
"""An alarm that is out of service is brought to mind once a day, in the journal and the list."""


def keep_house(held: AlarmList, sight: Sight) -> Iterator[Entry]:
    """Shelves that are over or outgrown, and reminders that are due."""
    for point, kept in held.kept.items():
        why = _shelf_over(kept, sight.now_us)
        if why:
            yield _entry(sight, What.UNSHELVED, point, why)
        work = kept.maintenance
        if work is not None and sight.now_us - work.reminded_us >= REMIND_US:
            yield _entry(sight, What.REMINDED, point, f"out of service, work order {work.order}")


def _shelf_over(kept: Kept, now_us: int) -> str:
    """A rise of priority ends a shelf: what was put aside was something smaller."""
    if kept.shelf is None:
        return ""
    if now_us >= kept.shelf.until_us:
        return "its time is up"
    return "its priority rose" if kept.priority < kept.shelf.priority else ""


def _entry(sight: Sight, what: What, point: Point, reason: str) -> Entry:
    return Entry(at_us=sight.now_us, what=what, who=GATEWAY, point=point, reason=reason)
