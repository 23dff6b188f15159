"""Time gained after a start: rows are found where they belong, and read back as they were sent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from edge.records import ClockCorrection, IntervalRow, Record, Stream
from edge.wire import body_line
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import Commit, SiteWriter, StreamKey
from tests.gateway.build import MINUTE_US, START_US, commit, entry, interval, key

SITE = "north-head"
EVER = (0, 2**62)
UNKEPT_US = 3_600_000_000  # an hour after the epoch: a machine without a clock of its own
SHIFT_US = START_US - UNKEPT_US
COUNTERS_A_MINUTE = 600_000
DOUBT = ("clock-unsynchronised",)


def unkept(minute: int, **changes: object) -> IntervalRow:
    """A minute as a unit dates it that does not know the time yet."""
    own: dict[str, object] = {"start_us": UNKEPT_US + MINUTE_US * minute, "flags": DOUBT}
    return interval(minute, **(own | changes))


def correction(first: int, last: int, **changes: object) -> ClockCorrection:
    """Of the minutes from the first up to but without the last."""
    one = ClockCorrection(
        boot="boot-1",
        from_counter=COUNTERS_A_MINUTE * first,
        to_counter=COUNTERS_A_MINUTE * last,
        shift_us=SHIFT_US,
        error_us=5,
        source="gnss",
    )
    return replace(one, **changes)  # type: ignore[arg-type]


@pytest.fixture
def writer(tmp_path: Path):  # type: ignore[no-untyped-def]
    made = SqliteHistory(tmp_path).writer(SITE)
    yield made
    made.close()


def starts(folder: Path) -> list[int]:
    reader = SqliteHistory(folder).reader(SITE)
    found = [row.start_us for row in reader.intervals("A1", *EVER)]
    reader.close()
    return found


def add(writer: SiteWriter, first: int, records: Sequence[Record], of: StreamKey) -> None:
    writer.append(commit(first, records, of))


HEALTH = key(Stream.HEALTH)


@pytest.mark.parametrize("correction_first", [True, False])
def test_rows_are_found_where_they_belong_whichever_came_first(
    writer: SiteWriter, tmp_path: Path, correction_first: bool
) -> None:
    rows = [unkept(n) for n in range(5)]
    if correction_first:
        add(writer, 1, [correction(0, 3)], HEALTH)
    add(writer, 1, rows, key())
    if not correction_first:
        add(writer, 1, [correction(0, 3)], HEALTH)
    belong = [START_US + MINUTE_US * n for n in range(3)]
    assert starts(tmp_path) == [rows[3].start_us, rows[4].start_us, *belong]
    reader = SqliteHistory(tmp_path).reader(SITE)
    assert [line.body for line in reader.lines(key())] == [body_line(row) for row in rows]
    assert [line.record for line in reader.lines(key())] == rows
    assert reader.exposure("A1", START_US, 2**62)["rows"] == 3
    assert reader.exposure("A1", *EVER)["rows"] == 5
    reader.close()


def test_a_correction_in_one_commit_with_its_rows_moves_them(
    writer: SiteWriter, tmp_path: Path
) -> None:
    both = Commit(
        1,
        (entry(1, unkept(0), key()), entry(1, correction(0, 9), HEALTH)),
        {**commit(1, [unkept(0)], key()).marks, **commit(1, [correction(0, 9)], HEALTH).marks},
    )
    writer.append(both)
    assert starts(tmp_path) == [START_US]


@pytest.mark.parametrize(
    "changes",
    [
        {"boot": "boot-2"},
        {"shift_us": 999_999},
        {"from_counter": COUNTERS_A_MINUTE},
        {"shift_us": -2 * UNKEPT_US},
    ],
    ids=["of another start", "too small to tell", "of later rows", "before all time"],
)
@pytest.mark.parametrize("correction_first", [True, False])
def test_a_correction_of_something_else_moves_nothing(
    writer: SiteWriter, tmp_path: Path, changes: dict[str, object], correction_first: bool
) -> None:
    steps = [([unkept(0)], key()), ([correction(0, 9, **changes)], HEALTH)]
    for records, of in reversed(steps) if correction_first else steps:
        add(writer, 1, records, of)
    assert starts(tmp_path) == [UNKEPT_US]


def test_a_row_that_knew_its_time_is_never_moved(writer: SiteWriter, tmp_path: Path) -> None:
    add(writer, 1, [unkept(0, flags=())], key())
    add(writer, 1, [correction(0, 9)], HEALTH)
    add(writer, 2, [unkept(1, flags=())], key())
    assert starts(tmp_path) == [UNKEPT_US, UNKEPT_US + MINUTE_US]


def test_another_units_correction_moves_nothing(writer: SiteWriter, tmp_path: Path) -> None:
    add(writer, 1, [unkept(0)], key())
    add(writer, 1, [correction(0, 9)], key(Stream.HEALTH, unit="north-head.m2"))
    assert starts(tmp_path) == [UNKEPT_US]


def test_a_better_correction_takes_the_place_of_an_earlier_one(
    writer: SiteWriter, tmp_path: Path
) -> None:
    add(writer, 1, [unkept(0)], key())
    add(writer, 1, [correction(0, 9), correction(0, 9, shift_us=SHIFT_US + 7_000_000)], HEALTH)
    add(writer, 2, [unkept(1)], key())
    assert starts(tmp_path) == [START_US + 7_000_000, START_US + 7_000_000 + MINUTE_US]
