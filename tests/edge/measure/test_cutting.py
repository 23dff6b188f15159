"""Gaps, clock steps, ticks, midnight: which minutes there are, and what their rows say."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from edge.measure.cutting import TICK_US
from edge.measure.flags import flag_bits
from edge.measure.plan import plan_from_description
from edge.quantities import Flag
from edge.records import IntervalRow, Span
from edge.samples import SampleBlock, SourceItem, StreamEnd, TimeAnchor
from tests.edge.measure.builders import (
    anchor,
    angle,
    blocks,
    columns,
    dead_band,
    describe,
    fed,
    sine,
)

RATE_HZ = 4_800.0
DESCRIPTION = describe(RATE_HZ)
PLAN = plan_from_description(DESCRIPTION)
THETA = angle(RATE_HZ, 50, 150.0)
SIGNAL = columns(3 * sine(THETA), 17 * sine(THETA))
SECOND = round(RATE_HZ)


def rows_of(*items: SourceItem) -> list[IntervalRow]:
    return [row for row in fed(PLAN, DESCRIPTION, items).rows if row.span is Span.MINUTE]


def seconds(first: int, stop: int, size: int = 3 * SECOND) -> list[SampleBlock]:
    """Blocks of the signal between two seconds."""
    return blocks(SIGNAL[first * SECOND : stop * SECOND], size, first * SECOND)


def end(second: int) -> StreamEnd:
    return StreamEnd(second * SECOND, "end")


def clock(row: IntervalRow) -> str:
    return datetime.fromtimestamp(row.start_us / 1e6, UTC).strftime("%d %H:%M:%S")


def test_a_gap_within_a_minute_leaves_one_row_of_what_was_there() -> None:
    first, second = rows_of(anchor(), *seconds(0, 20), *seconds(27, 90), end(90))
    assert (clock(first), clock(second)) == ("07 21:10:00", "07 21:11:00")
    assert first.duration_us + second.duration_us == 83_000_000
    assert first.halfcycles + second.halfcycles == pytest.approx(8_300, abs=2)
    assert Flag.GAP.value in first.flags
    assert Flag.GAP.value not in second.flags


def test_a_gap_across_minutes_leaves_none_out_and_counts_none_twice() -> None:
    rows = rows_of(anchor(), *seconds(0, 20), *seconds(75, 150), end(150))
    assert [clock(row) for row in rows] == ["07 21:10:00", "07 21:11:15", "07 21:12:00"]
    assert sum(row.duration_us for row in rows) == 95_000_000
    assert [Flag.GAP.value in row.flags for row in rows] == [True, True, False]


def test_state_after_a_gap_owes_nothing_to_what_was_before() -> None:
    """Arcs before the gap, a calm film after it; the mains angle jumps as well."""
    arcs = columns(40 * dead_band(45)(THETA), 17 * sine(THETA))[: 20 * SECOND]
    after = columns(3 * sine(THETA + 1.0), 17 * sine(THETA + 1.0))[: 60 * SECOND]
    begin = 65 * SECOND
    rows = rows_of(
        anchor(), *blocks(arcs, SECOND), *blocks(after, SECOND, begin), StreamEnd(125 * SECOND, "")
    )
    fresh = rows_of(
        anchor("2026-03-07T21:11:05", begin),
        *blocks(after, SECOND, begin),
        StreamEnd(125 * SECOND, ""),
    )
    assert rows[0].state.value == "arcing-dense"
    assert [row.state.value for row in rows[1:]] == ["wet", "wet"]
    assert [row.charge_nc for row in rows[1:]] == [row.charge_nc for row in fresh]
    assert [row.start_us for row in rows[1:]] == [row.start_us for row in fresh]


def test_a_gap_of_one_sample_is_a_gap() -> None:
    (row,) = rows_of(
        anchor(),
        *blocks(SIGNAL[: 10 * SECOND], SECOND),
        *blocks(SIGNAL[10 * SECOND + 1 : 20 * SECOND], SECOND, 10 * SECOND + 1),
        end(20),
    )
    assert Flag.GAP.value in row.flags
    assert row.duration_us == pytest.approx(20_000_000 - 1e6 / RATE_HZ, abs=2)


def test_samples_that_come_twice_are_measured_once() -> None:
    once = rows_of(anchor(), *seconds(0, 90), end(90))
    twice = rows_of(anchor(), *seconds(0, 40), *seconds(20, 90), end(90))
    assert twice == once


@pytest.mark.parametrize(
    ("utc", "starts"),
    [
        ("2026-03-07T21:12:00", ["07 21:10:00", "07 21:12:00", "07 21:13:00"]),
        ("2026-03-07T21:10:10", ["07 21:10:00", "07 21:10:10", "07 21:11:00"]),
        ("2026-03-07T20:55:30", ["07 21:10:00", "07 20:55:30", "07 20:56:00"]),
    ],
    ids=["ninety seconds forwards", "twenty backwards", "fifteen minutes backwards"],
)
def test_a_clock_step_starts_a_new_row_with_the_new_time(utc: str, starts: list[str]) -> None:
    rows = rows_of(anchor(), *seconds(0, 30), anchor(utc, 30 * SECOND), *seconds(30, 100), end(100))
    assert [clock(row) for row in rows] == starts
    assert [Flag.CLOCK_STEP.value in row.flags for row in rows] == [False, True, True]
    assert sum(row.duration_us for row in rows) == 100_000_000
    assert [row.start_counter for row in rows][:2] == [0, 30 * SECOND]


def test_a_clock_that_is_mended_by_less_than_a_second_makes_no_new_row() -> None:
    mended = anchor("2026-03-07T21:10:30.500000", 30 * SECOND)
    rows = rows_of(anchor(), *seconds(0, 30), mended, *seconds(30, 90), end(90))
    assert [clock(row) for row in rows] == ["07 21:10:00", "07 21:11:00"]
    assert not any(Flag.CLOCK_STEP.value in row.flags for row in rows)


@pytest.mark.parametrize("late_us", [-250_000, -12_000, -90, 90, 12_000, 15_000])
def test_a_mended_clock_moves_the_next_tick_and_leaves_no_runt_of_a_minute(late_us: int) -> None:
    """A sampling clock 20 millionths off is 12 ms off after ten minutes."""
    exact = anchor("2026-03-07T21:19:30", 30 * SECOND)
    mended = TimeAnchor(exact.counter, exact.utc_ns - late_us * 1000, 0, exact.source)
    rows = rows_of(
        anchor("2026-03-07T21:19:00"), *seconds(0, 30), mended, *seconds(30, 119), end(119)
    )
    assert [clock(row) for row in rows] == ["07 21:19:00", "07 21:20:00"]
    assert rows[1].start_us % 60_000_000 < 1e6 / RATE_HZ
    assert rows[1].start_counter == pytest.approx((60 + late_us / 1e6) * SECOND, abs=1)
    assert sum(row.duration_us for row in rows) == pytest.approx(119_000_000, abs=300)


@pytest.mark.parametrize(
    ("utc", "first", "second"),
    [
        ("2026-12-31T23:59:20", "31 23:59:20", "01 00:00:00"),
        ("2026-04-30T23:59:20", "30 23:59:20", "01 00:00:00"),
        ("2028-02-28T23:59:20", "28 23:59:20", "29 00:00:00"),
    ],
)
def test_midnight_and_the_end_of_a_month_are_ticks_like_others(
    utc: str, first: str, second: str
) -> None:
    rows = rows_of(anchor(utc), *seconds(0, 90), end(90))
    assert [clock(row) for row in rows] == [first, second]
    assert [row.duration_us for row in rows] == [40_000_000, 50_000_000]


@pytest.mark.parametrize("shift_us", [0, 1, 104, 19_999, 123_457])
def test_a_tick_falls_between_samples_and_every_sample_belongs_to_one_side(shift_us: int) -> None:
    """Wherever the tick falls within a sample or a cycle: no sample is lost or counted twice."""
    begin = anchor("2026-03-07T21:19:50")
    shifted = TimeAnchor(0, begin.utc_ns + shift_us * 1000, 0, begin.source)
    table = fed(PLAN, DESCRIPTION, [shifted, *seconds(0, 20, 777), end(20)]).table
    ends = table.start + np.rint(table.duration_us * RATE_HZ / 1e6).astype(np.int64)
    assert np.array_equal(table.start[1:], ends[:-1])
    assert (table.start[0], ends[-1]) == (0, 20 * SECOND)
    tick_us = (shifted.utc_ns // 1000 // TICK_US + 1) * TICK_US
    after = int(np.searchsorted(table.start_us, tick_us))
    assert 0 <= table.start_us[after] - tick_us < 1e6 / RATE_HZ
    assert table.start_us[after - 1] + table.duration_us[after - 1] == table.start_us[after]


def test_an_unsynchronised_clock_is_said_on_every_row() -> None:
    rows = rows_of(anchor(synchronised=False), *seconds(0, 90), end(90))
    assert all(Flag.CLOCK_UNSYNCHRONISED.value in row.flags for row in rows)


@pytest.mark.parametrize(
    ("shift_us", "size"), [(-300_000, 3 * SECOND), (-40, 7_777), (300_000, 3 * SECOND)]
)
def test_a_clock_that_is_lost_and_found_again_is_said_from_the_sample_on(
    shift_us: int, size: int
) -> None:
    lost = anchor("2026-03-07T21:10:20", 20 * SECOND, synchronised=False)
    exact = anchor("2026-03-07T21:11:05", 65 * SECOND)
    again = TimeAnchor(exact.counter, exact.utc_ns + shift_us * 1000, 1000, exact.source)
    found = fed(
        PLAN,
        DESCRIPTION,
        [
            *(anchor(), *seconds(0, 20, size), lost, *seconds(20, 65, size), again),
            *(*seconds(65, 125, size), end(125)),
        ],
    )
    said = found.table.flags & flag_bits(Flag.CLOCK_UNSYNCHRONISED) != 0
    begins = found.table.start // SECOND
    assert np.array_equal(said, (begins >= 20) & (begins < 65))
    assert found.table.duration_us.sum() == 125_000_000
    assert (np.diff(found.table.start) > 0).all()
    rows = found.minutes()
    assert sum(row.duration_us for row in rows) == 125_000_000
    assert [Flag.CLOCK_UNSYNCHRONISED.value in row.flags for row in rows[:2]] == [True, True]
    assert Flag.CLOCK_UNSYNCHRONISED.value not in rows[-1].flags
    assert not any(Flag.CLOCK_STEP.value in row.flags for row in rows)
    one_row_a_minute = 3 if shift_us > -10_000 else 4
    assert len(rows) == one_row_a_minute


def test_what_was_dated_by_nothing_ends_where_the_first_time_comes() -> None:
    late = anchor(counter=20 * SECOND)
    rows = rows_of(*seconds(0, 20), late, *seconds(20, 40), end(40))
    assert [clock(row) for row in rows] == ["01 00:00:00", "07 21:10:00"]
    unkept = [Flag.CLOCK_UNSYNCHRONISED.value in row.flags for row in rows]
    assert unkept == [True, False]


def test_a_source_without_any_time_starts_in_1970_unsynchronised_and_not_severe() -> None:
    found = fed(PLAN, DESCRIPTION, [*seconds(0, 70), end(70)])
    assert [row.span for row in found.rows] == [Span.MINUTE, Span.MINUTE]
    assert found.rows[0].start_us == 0
    assert all(Flag.CLOCK_UNSYNCHRONISED.value in row.flags for row in found.rows)


def test_a_signal_shorter_than_a_cycle_still_leaves_a_row() -> None:
    (row,) = rows_of(anchor(), SampleBlock(0, SIGNAL[:50]), StreamEnd(50, "end"))
    assert row.duration_us == pytest.approx(50 / RATE_HZ * 1e6, abs=1)
    assert Flag.SHORT_WINDOW.value in row.flags
    assert row.state_us[-1] + sum(row.state_us[:-1]) == row.duration_us


def test_an_empty_source_leaves_nothing() -> None:
    assert rows_of(anchor(), StreamEnd(0, "end")) == []
