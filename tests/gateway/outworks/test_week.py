"""A gateway, and a display before it, that are left alone for a week: memory stays flat."""

from __future__ import annotations

import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.gateway.notices.receiving import WebHook
from tests.gateway.outworks.week import Weeks, resident_bytes

QUARTER_MIN = 360
"""Four steps a day."""

FLAT_BYTES_PER_STEP = 9_000
"""The ring of the stream fills to its 500 events, and the notices that a page shows to their 100;
what is bounded may grow that far. Whatever keeps rows grows by ten times this."""

RESIDENT_BYTES_MAX = 24_000_000
"""What the system may count more after six days; pages of the allocator come in pieces."""


@contextmanager
def traced() -> Iterator[None]:
    tracemalloc.start(1)
    try:
        yield
    finally:
        tracemalloc.stop()


def test_a_gateway_stays_as_small_as_it_was_over_a_week_and_the_measure_would_see_a_hoarder(
    tmp_path: Path, hook: WebHook
) -> None:
    """Rows, a storm a day, people's actions, pages, notices, a control centre, cut streams."""
    week = Weeks(tmp_path, hook, QUARTER_MIN, rows=6)
    try:
        with traced():
            week.live(8)
            before, resident = week.held_bytes(), resident_bytes()
            week.live(20)
            grown = week.held_bytes() - before
            assert grown < 20 * FLAT_BYTES_PER_STEP, f"{grown} bytes in five days"
            assert resident_bytes() - resident < RESIDENT_BYTES_MAX
            assert _grown_by_a_hoarder(week, 4) > 4 * FLAT_BYTES_PER_STEP
    finally:
        week.close()


def _grown_by_a_hoarder(week: Weeks, steps: int) -> int:
    """The careless twin: somebody who keeps every commit."""
    kept: list[Any] = []
    told, before = week.house._committed, week.held_bytes()

    def hoard(site: str, made: Any) -> None:
        kept.append(made)
        told(site, made)

    week.house._committed = hoard  # type: ignore[method-assign]
    week.live(steps)
    return week.held_bytes() - before


@pytest.mark.long
@pytest.mark.timeout(7_200)
def test_a_gateway_stays_as_small_as_it_was_over_every_minute_of_a_week(
    tmp_path: Path, hook: WebHook
) -> None:
    """The same at the pace of the real thing: 10,080 minutes, 121,000 rows."""
    week = Weeks(tmp_path, hook, 1, rows=1)
    try:
        week.live(24 * 60)
        week.settled()
        resident = resident_bytes()
        with traced():
            week.live(24 * 60)
            before = week.held_bytes()
            week.live(5 * 24 * 60)
            grown = week.held_bytes() - before
        assert grown < 300_000, f"{grown} bytes in five days"
        assert resident_bytes() - resident < RESIDENT_BYTES_MAX
    finally:
        week.close()
