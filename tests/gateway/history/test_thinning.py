"""Old minutes become ten-minute and hourly rows: sums, peaks and doubt stay, nothing twice."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from edge.quantities import STATES, State
from edge.records import IntervalRow
from gateway.history.chunks import ABSENT, WEEK_US, Ints
from gateway.history.columns import TABLE_OF
from gateway.history.loaded import KEPT_SOURCE, Columns
from gateway.history.sqlite_read import SqliteReader
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import SUMMED
from gateway.history.thinning import (
    ALIKE,
    ANGLES,
    HIGHEST,
    HOUR_US,
    KEPT,
    MEANS,
    SQUARES,
    SUMS,
    TICK_US,
    thinned,
)
from tests.gateway.build import MINUTE_US, START_US, UNIT, commit, interval

SITE = "north-head"
FIRST = (START_US // WEEK_US + 1) * WEEK_US
"""Start of a whole week."""
LATER = FIRST + 2 * WEEK_US


def minutes(count: int, first_us: int = FIRST, **changes: object) -> list[IntervalRow]:
    return [interval(k, start_us=first_us + k * MINUTE_US, **changes) for k in range(count)]


def filled(folder: Path, rows: list[IntervalRow]) -> SqliteHistory:
    history = SqliteHistory(folder)
    writer = history.writer(SITE)
    writer.append(commit(1, rows))
    writer.close()
    return history


def thin(history: SqliteHistory, before_us: int) -> tuple[int, int, int]:
    writer = history.writer(SITE)
    try:
        done = writer.thin(before_us)
    finally:
        writer.close()
    return done.weeks, done.rows_before, done.rows_after


def reader_of(history: SqliteHistory) -> SqliteReader:
    return history.reader(SITE)


def test_sums_of_every_kind_are_the_same_before_and_after(tmp_path: Path) -> None:
    rows = minutes(135) + minutes(5, LATER)
    history = filled(tmp_path, rows)
    before = reader_of(history).exposure("A1", 0, 1 << 62)
    assert thin(history, LATER) == (1, 135, 14)
    after = reader_of(history).exposure("A1", 0, 1 << 62)
    assert {name: after[name] for name in SUMMED} == {name: before[name] for name in SUMMED}
    assert after["rows"] == 14 + 5
    hourly = reader_of(history).loaded_columns(
        Columns.HOURLY, "A1", sorted(SUMS), 0, 1 << 62, KEPT_SOURCE
    )
    assert hourly["start_us"].shape[0] == 3
    for name in set(SUMMED) & SUMS:
        known = hourly[name][hourly[name] != ABSENT]
        assert int(known.sum()) == sum(
            one[0] or 0 for one in reader_of(history).interval_columns("A1", [name], 0, LATER)
        )


GOES = {
    "insulator", "span", "start_counter", "live_us", "first_arc_us", "last_arc_us",
    "silent_from_us",
}  # fmt: skip
"""Counters and moments within a row; and what its place in the file says already."""


def test_every_column_of_a_row_is_thinned_in_one_way_or_known_to_go() -> None:
    ways: list[frozenset[str]] = [SUMS, HIGHEST, SQUARES, MEANS, ANGLES]
    ways.append(frozenset({*ALIKE, "start_us", "state"}))
    assert set(TABLE_OF[IntervalRow].columns) - frozenset().union(*ways) == GOES
    assert sum(map(len, ways)) == len(frozenset().union(*ways)) == len(KEPT)


def test_minutes_within_the_time_that_is_kept_stay_as_they_are(tmp_path: Path) -> None:
    history = filled(tmp_path, minutes(30, LATER))
    assert thin(history, LATER + WEEK_US - 1) == (0, 0, 0)
    assert len(reader_of(history).intervals("A1", 0, 1 << 62)) == 30


def test_the_highest_peak_of_a_tick_is_kept_and_a_flag_makes_a_row_of_its_own(
    tmp_path: Path,
) -> None:
    rows = minutes(10)
    doubtful = interval(4, start_us=FIRST + 4 * MINUTE_US, flags=("sensor-fault",), peak_ua=99_000)
    rows[4] = doubtful
    history = filled(tmp_path, rows)
    assert thin(history, LATER) == (1, 10, 3)
    reader = reader_of(history)
    found = reader.loaded_columns(
        Columns.INTERVAL, "A1", ("duration_us", "peak_ua", "flags", "state"), 0, 1 << 62
    )
    assert (found["duration_us"] // MINUTE_US).tolist() == [4, 1, 5]
    assert found["peak_ua"].tolist() == [12_348, 99_000, 12_354]
    assert "sensor-fault" in reader.spell(int(found["flags"][1]))
    assert found["state"].tolist() == [STATES.index(State.WET)] * 3


def test_done_again_nothing_is_left_to_do_and_nothing_changes(tmp_path: Path) -> None:
    history = filled(tmp_path, minutes(60))
    thin(history, LATER)
    before = reader_of(history).exposure("A1", 0, 1 << 62)
    assert thin(history, LATER) == (0, 0, 0)
    assert reader_of(history).exposure("A1", 0, 1 << 62) == before


def test_minutes_that_come_late_are_added_to_the_tick_that_stands_for_them(tmp_path: Path) -> None:
    history = filled(tmp_path, minutes(5))
    thin(history, LATER)
    late = [interval(k, start_us=FIRST + k * MINUTE_US) for k in range(5, 10)]
    writer = history.writer(SITE)
    writer.append(commit(6, late))
    assert writer.thin(LATER).rows_after == 1
    writer.close()
    found = reader_of(history).exposure("A1", 0, 1 << 62)
    assert found["rows"] == 1 and found["duration_us"] == 10 * MINUTE_US
    assert found["halfcycles"] == 60_000


def test_marks_stay_so_that_a_line_sent_again_is_known(tmp_path: Path) -> None:
    history = filled(tmp_path, minutes(20))
    before = reader_of(history).marks()
    thin(history, LATER)
    reader = reader_of(history)
    assert reader.marks() == before and {key.unit for key in before} == {UNIT}
    assert all(reader.lines(key) == [] for key in before)


def loaded(history: SqliteHistory, count: int) -> int:
    """Adds minutes from elsewhere; how many were new."""
    loader = history.loader(SITE)
    start = FIRST + np.arange(count) * MINUTE_US
    columns: dict[str, Ints] = {
        "start_us": start,
        "duration_us": np.full(count, MINUTE_US),
        "charge_nc": np.arange(count) + 1,
    }
    with loader.together():
        taken = loader.add_columns(Columns.INTERVAL, "B1", "csv", columns)
    loader.close()
    return int(taken.added.sum())


def test_a_file_loaded_again_after_thinning_changes_nothing(tmp_path: Path) -> None:
    history = SqliteHistory(tmp_path)
    assert loaded(history, 40) == 40
    assert thin(history, LATER) == (1, 40, 4)
    assert loaded(history, 60) == 20  # the ticks that were not there yet
    found = reader_of(history).loaded_columns(Columns.INTERVAL, "B1", ("charge_nc",), 0, 1 << 62)
    assert int(found["charge_nc"].sum()) == 60 * 61 // 2


def test_a_run_that_is_asked_to_stop_stops_between_weeks(tmp_path: Path) -> None:
    history = filled(tmp_path, minutes(10) + minutes(10, FIRST + WEEK_US))
    writer = history.writer(SITE)
    answers = iter([False, True])
    assert writer.thin(LATER, lambda: next(answers)).weeks == 1
    assert writer.thin(LATER).weeks == 1
    writer.close()


@pytest.mark.parametrize("tick_us", [TICK_US, HOUR_US])
def test_root_mean_square_and_mean_are_weighted_by_the_time_covered(tick_us: int) -> None:
    columns = {
        "start_us": np.array([0, 60_000_000]),
        "duration_us": np.array([60_000_000, 180_000_000]),
        "rms_na": np.array([1_000, 3_000]),
        "in_phase_na": np.array([100, ABSENT]),
        "h3_cdeg": np.array([17_900, -17_900]),
        "state": np.array([0, 1]),
    }
    found = {name: column.tolist() for name, column in thinned(columns, tick_us).items()}
    assert found["rms_na"] == [round(((1e6 + 3 * 9e6) / 4) ** 0.5)]
    assert found["in_phase_na"] == [100] and abs(found["h3_cdeg"][0]) > 17_900
    assert found["state"] == [1] and found["duration_us"] == [240_000_000]
