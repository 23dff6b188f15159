"""How long rows of a minute are kept, and the seam for what thins them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

KEEP_DAYS = 366
"""Minute rows are kept so long, and up to a week longer; then ten-minute and hourly rows stand for
them for ever, with the same sums."""
KEEP_DAYS_LEAST = 28
"""Fewer would take the minutes from under alarms that are still looked into; refused."""

PACK_AFTER_DAYS = 2
"""A week is copied into columns when it has been over for so long: rows of a unit that was offline
come late, and each that does takes the copy of its week away."""

DAY_US = 86_400_000_000


@dataclass(frozen=True, slots=True)
class Thinned:
    """What a run did: weeks of an insulator, rows before, rows after."""

    weeks: int
    rows_before: int
    rows_after: int

    def plus(self, other: Thinned) -> Thinned:
        """Both together."""
        return Thinned(
            self.weeks + other.weeks,
            self.rows_before + other.rows_before,
            self.rows_after + other.rows_after,
        )


@runtime_checkable
class SiteThinner(Protocol):
    """A site's writer that thins."""

    def newest_us(self) -> int | None:
        """Start of the newest row that a unit sent, or end of the newest week of columns; None
        without any."""

    def thin(self, before_us: int, stop: Callable[[], bool] = ...) -> Thinned: ...

    def pack(self, before_us: int, stop: Callable[[], bool] = ...) -> int: ...


def keep_from_us(now_us: int, keep_days: int) -> int:
    """Rows before this may be thinned."""
    assert keep_days >= KEEP_DAYS_LEAST
    return now_us - keep_days * DAY_US
