"""Plots keep every peak at any zoom, and gaps stay gaps."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.console.binning import binned, runs
from gateway.console.drawing import Axis, decimated, line_path, nice_top, number, time_ticks
from gateway.console.words import grouped, span_text
from gateway.trends.columns import IntervalColumns, Period

MINUTE_US = 60_000_000


def rows(minutes: list[int], peak_ua: list[float], long: int = 1) -> IntervalColumns:
    count = len(minutes)
    return IntervalColumns(
        start_us=np.array(minutes, np.int64) * MINUTE_US,
        duration_us=np.full(count, long * MINUTE_US, np.int64),
        peak_ua=np.array(peak_ua, np.float64),
        arcing_halfcycles=np.full(count, 60, np.int64),
    )


@given(st.lists(st.floats(0, 1e6), min_size=1, max_size=300), st.integers(1, 90))
def test_no_peak_is_lost_whatever_the_number_of_columns(peaks: list[float], count: int) -> None:
    columns = rows(list(range(len(peaks))), peaks)
    bins = binned(columns, Period(0, len(peaks) * MINUTE_US), count)
    assert np.nanmax(bins.high) == pytest.approx(max(peaks) / 1000)
    known = bins.known
    assert (bins.low[known] <= bins.middle[known]).all()
    assert (bins.middle[known] <= bins.high[known]).all()


def test_minutes_without_a_row_are_a_gap_and_not_a_zero() -> None:
    bins = binned(rows([0, 1, 8, 9], [5e3] * 4), Period(0, 10 * MINUTE_US), 10)
    assert runs(~bins.known) == [(2, 8)]
    drawn = line_path(np.arange(10.0), bins.high, "high")
    assert drawn.count("M") == 2


def test_a_row_longer_than_a_column_counts_in_every_column_it_covers() -> None:
    bins = binned(rows([0], [5e3], long=10), Period(0, 10 * MINUTE_US), 10)
    assert bins.known.all()
    assert np.nanmax(bins.arcs) == pytest.approx(6.0)


def test_a_doubted_row_draws_no_current_and_is_counted() -> None:
    columns = IntervalColumns(
        start_us=np.array([0, MINUTE_US]),
        duration_us=np.full(2, MINUTE_US),
        peak_ua=np.array([5e3, 9e9]),
        doubted=np.array([False, True]),
    )
    bins = binned(columns, Period(0, 2 * MINUTE_US), 2)
    assert bins.known.tolist() == [True, False]
    assert bins.doubted.tolist() == [False, True]


@given(st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=4000), st.integers(1, 900))
def test_a_decimated_wave_keeps_its_least_and_highest_sample(
    samples: list[float], columns: int
) -> None:
    found = np.array(samples)
    at, held = decimated(found, columns)
    assert (held.min(), held.max()) == (found.min(), found.max())
    assert (np.diff(at) >= 0).all()
    assert len(held) <= max(2 * columns, len(found) if len(found) <= 2 * columns else 2 * columns)


@given(st.floats(1e-6, 1e9), st.floats(1e-6, 1e3))
def test_an_axis_ends_above_the_highest_and_not_far_above(highest: float, least: float) -> None:
    top = nice_top(highest, least)
    assert max(highest, least) <= top * (1 + 1e-9)
    assert top <= 2.0001 * max(highest, least)


def test_an_axis_maps_its_ends_and_leaves_what_is_unknown_unknown() -> None:
    axis = Axis(0.1, 10, 100, 0, log=True)
    assert axis.at(np.array([0.1, 1, 10, 99])).tolist() == [100, 50, 0, 0]
    assert np.isnan(axis.at(np.array([np.nan]))).all()
    assert axis.ticks() == pytest.approx([0.1, 1, 10])


@given(st.integers(0, 10**15), st.integers(1, 10**14))
def test_times_on_an_axis_are_few_and_round(from_us: int, long_us: int) -> None:
    ticks = time_ticks(from_us, from_us + long_us, 3_600_000_000)
    assert len(ticks) <= 1 + max(9, long_us // (90 * 86_400_000_000))
    assert all(from_us <= at_us <= from_us + long_us for at_us in ticks)
    assert all((at_us + 3_600_000_000) % MINUTE_US == 0 for at_us in ticks)


def test_numbers_and_durations_are_written_as_people_say_them() -> None:
    assert [number(x) for x in (0.0893, 12.34, 777, 0, 1e-9, float("nan"))] == [
        "0.0893",
        "12.3",
        "777",
        "0",
        "0",
        "",
    ]
    assert grouped("1454995") == "1\u202f454\u202f995"
    assert grouped("-12345.6") == "-12\u202f345.6"
    assert grouped("9999") == "9999"
    assert [span_text(s * 1_000_000) for s in (5, 90, 3_700, 200_000)] == [
        "5 s",
        "1 min",
        "1 h 01 min",
        "2 d 7 h",
    ]
