"""Copies of whole weeks read like the rows themselves, and go when a row comes late."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from gateway.history.chunks import ABSENT, WEEK_US, Ints
from gateway.history.columns import TABLE_OF
from gateway.history.loaded import Columns
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import HistoryFault
from tests.gateway.build import MINUTE_US, IntervalRow, commit, interval
from tests.gateway.history.test_thinning import FIRST, LATER, SITE, filled, minutes, thin

NAMES = tuple(one for one in TABLE_OF[IntervalRow].columns if one not in ("insulator", "span"))


def columns(history: SqliteHistory, start_us: int = 0, end_us: int = 1 << 62) -> dict[str, Ints]:
    reader = history.reader(SITE)
    try:
        return reader.live_columns(Columns.INTERVAL, "A1", NAMES, start_us, end_us)
    finally:
        reader.close()


def pack(history: SqliteHistory, before_us: int = LATER) -> int:
    writer = history.writer(SITE)
    try:
        return writer.pack(before_us)
    finally:
        writer.close()


def copies(history: SqliteHistory) -> int:
    writer = history.writer(SITE)
    try:
        return sum(weeks for _, kind, weeks, _ in writer.sizes() if kind == Columns.PACKED)
    finally:
        writer.close()


def assert_alike(one: dict[str, Ints], other: dict[str, Ints]) -> None:
    assert one.keys() == other.keys()
    for name in one:
        assert np.array_equal(one[name], other[name]), name


@pytest.fixture
def history(tmp_path: Path) -> SqliteHistory:
    """Three weeks with rows, the first and the third with a hole between."""
    rows = minutes(50) + minutes(20, FIRST + WEEK_US) + minutes(5, LATER + WEEK_US)
    rows[3] = interval(3, start_us=FIRST + 3 * MINUTE_US, voltage_mv=None, flags=())
    return filled(tmp_path, rows)


@pytest.mark.parametrize(
    ("start_us", "end_us"),
    [(0, 1 << 62), (FIRST + 7 * MINUTE_US, FIRST + WEEK_US + 3 * MINUTE_US), (LATER, 1 << 62)],
)
def test_packed_weeks_and_single_rows_give_the_same_columns(
    history: SqliteHistory, start_us: int, end_us: int
) -> None:
    before = columns(history, start_us, end_us)
    assert pack(history) == 2 and copies(history) == 2
    assert_alike(columns(history, start_us, end_us), before)


def test_what_is_packed_is_not_packed_again(history: SqliteHistory) -> None:
    pack(history)
    assert pack(history) == 0


def test_the_copy_is_what_is_read(history: SqliteHistory) -> None:
    pack(history)
    writer = history.writer(SITE)
    writer._connection.execute("UPDATE interval SET rms_na = 1")
    writer.close()
    assert set(columns(history, 0, LATER)["rms_na"].tolist()) == {3_000_000}


def test_a_row_that_comes_late_takes_the_copy_of_its_week_away(history: SqliteHistory) -> None:
    writer = history.writer(SITE)
    writer.pack(LATER)
    late = interval(60, start_us=FIRST + 60 * MINUTE_US)
    writer.append(commit(76, [late]))
    writer.close()
    assert copies(history) == 1
    assert columns(history)["start_us"].shape[0] == 76
    assert pack(history) == 1


def test_a_commit_that_fails_leaves_rows_and_copies_as_they_were(history: SqliteHistory) -> None:
    before = columns(history)
    writer = history.writer(SITE)
    writer.pack(LATER)
    late = interval(60, start_us=FIRST + 60 * MINUTE_US)
    with pytest.raises(HistoryFault):
        writer.append(commit(99, [late]))  # the mark is elsewhere
    writer.append(commit(76, [interval(61, start_us=FIRST + 61 * MINUTE_US)]))
    writer.close()
    assert copies(history) == 1
    after = columns(history)
    assert after["start_us"].shape[0] == before["start_us"].shape[0] + 1
    assert int((after["voltage_mv"] == ABSENT).sum()) == 1


def test_thinned_weeks_have_no_copy_any_more(history: SqliteHistory) -> None:
    pack(history)
    thin(history, LATER)
    assert copies(history) == 0 and columns(history)["start_us"].shape[0] == 5
