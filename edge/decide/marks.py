"""Where the last row ended: lateness, gaps, and the time since the last arc.

The sample counter tells time between rows wherever the rate is known; UTC stands in where it is
not, or where a source has begun to count anew.
"""

from __future__ import annotations

from edge.decide.binding import DecisionPlan
from edge.decide.rules import UNJUDGED, Sight
from edge.decide.state import Trail
from edge.records import IntervalRow

ADJOINING_US = 100_000
"""Less than half a window between rows is rounding or a clock being steered, not a gap."""

STEPPED_BACK_US = 86_400_000_000
"""A row dated this much before the last one is not late: the clock was stepped back."""


def is_late_by_clock(start_us: int, last_start_us: int) -> bool:
    """Whether a row began no later than the last one seen, by UTC; -1: none seen."""
    return 0 <= last_start_us - start_us < STEPPED_BACK_US


def is_late(row: IntervalRow, trail: Trail) -> bool:
    """Late or repeated by both clocks; a counter begun anew, or stepped UTC, alone is neither."""
    return row.start_counter <= trail.start_counter and is_late_by_clock(
        row.start_us, trail.start_us
    )


def gap_us(row: IntervalRow, trail: Trail, plan: DecisionPlan) -> int:
    """Time between the end of the last row and the start of this one; 0 where they adjoin."""
    if not trail.end_us:
        return 0
    counted = row.start_counter - trail.end_counter
    if plan.rate_millihz is None or trail.start_us < 0 or counted < 0:
        missing_us = row.start_us - trail.end_us
    else:
        missing_us = counted * 1_000_000_000 // plan.rate_millihz
    return missing_us if missing_us > ADJOINING_US else 0


def next_trail(sight: Sight, reach_us: int, at_counter: int) -> Trail:
    """The trail after a row. reach_us: an arc longer ago than this is forgotten.

    A row that is no good data and saw no arc leaves the time since the last arc as it was.
    """
    row, since_arc_us = sight.row, sight.since_arc_us
    if row.last_arc_us is not None:
        since_us: int | None = max(0, row.duration_us - row.last_arc_us)
    elif since_arc_us is None or sight.loss == UNJUDGED:
        since_us = since_arc_us
    else:
        since_us = since_arc_us + row.duration_us
    if since_us is not None and since_us > reach_us:
        since_us = None
    end_us = row.start_us + row.duration_us
    return Trail(row.start_us, row.start_counter, end_us, at_counter, since_us)
