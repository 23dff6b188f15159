"""Stored rows through `decide` alone: what other limits would have said of the past.

No sample is touched. Rows go in in the order in which they end, as the unit decided on them, so the
same limits give the same changes again; see `edge.decide.evaluation`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import TypeVar

from edge.decide.binding import DecisionPlan
from edge.decide.evaluation import DecidedRecord, decision_order, step
from edge.decide.state import initial
from edge.records import ConditionChange, IntervalRow, Span
from gateway.history.store import PAGE_MAX, HistoryFault, SiteReader

STRIDE_US = 3_600_000_000
"""So much of the past is held in memory at once: at most 60 minute and 360 ten-second rows of an
insulator, and a site's health and weather, well below what one read of the history gives."""

SPANS = (Span.MINUTE, Span.MERGED, Span.TEN_SECONDS)
"""What is decided on. Rows that were thinned to longer spans decide nothing: that past is over."""

Row = TypeVar("Row")


def decided_again(plan: DecisionPlan, rows: Iterable[DecidedRecord]) -> Iterator[ConditionChange]:
    """The changes that a plan decides from rows, in order, from a beginning without memory.

    Rows of insulators that the plan does not watch are passed over.
    """
    state = initial(plan)
    for row in rows:
        insulator = getattr(row, "insulator", None)
        if insulator is None or insulator in plan.insulators:
            state, said = step(state, row, plan)
            yield from said


def stored_rows(
    reader: SiteReader, unit: str, insulators: Sequence[str], from_us: int, to_us: int
) -> Iterator[DecidedRecord]:
    """A unit's rows that start in [from_us, to_us), in the order in which they end.

    Raises HistoryFault.
    """
    order = _order(insulators)
    waiting: list[DecidedRecord] = []
    for start_us in range(from_us, to_us, STRIDE_US):
        end_us = min(start_us + STRIDE_US, to_us)
        waiting += _stride(reader, unit, insulators, start_us, end_us)
        waiting.sort(key=order)
        ready = sum(decision_order(row)[0] <= end_us for row in waiting)
        yield from waiting[:ready]
        waiting = waiting[ready:]
    yield from waiting


def _order(insulators: Sequence[str]) -> Callable[[DecidedRecord], tuple[int, int, int, int]]:
    """Of rows that end together, those of the first insulator first, then by their starts."""
    places = {name: place for place, name in enumerate(insulators)}

    def order(row: DecidedRecord) -> tuple[int, int, int, int]:
        place = places[row.insulator] if isinstance(row, IntervalRow) else 0
        return *decision_order(row), place, row.start_us

    return order


def _stride(
    reader: SiteReader, unit: str, insulators: Sequence[str], start_us: int, end_us: int
) -> list[DecidedRecord]:
    rows: list[DecidedRecord] = []
    for insulator in insulators:
        rows.extend(_whole(reader.intervals(insulator, start_us, end_us, SPANS), insulator))
    weather = _whole(reader.weather(start_us, end_us), unit)
    rows.extend(one.record for one in weather if one.key.unit == unit)
    health = _whole(reader.health(start_us, end_us), unit)
    rows.extend(one.record for one in health if one.key.unit == unit)
    return rows


def _whole(found: Sequence[Row], where: str) -> Sequence[Row]:
    if len(found) >= PAGE_MAX:
        raise HistoryFault(
            f"{where}: {len(found)} rows within an hour; that is more than one read gives, and "
            "more than a site sends: look into the history before deciding on it again"
        )
    return found
