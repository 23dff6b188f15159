"""Rows are exact sums of windows; ten-second rows come only while arcing is severe."""

from __future__ import annotations

import numpy as np

from edge.measure.windows import ABSENT
from edge.quantities import STATES
from edge.records import IntervalRow, Span
from tests.edge.measure.builders import (
    Floats,
    Played,
    angle,
    columns,
    dead_band,
    describe,
    measured,
    sine,
)

RATE_HZ = 4_800.0
THETA = angle(RATE_HZ, 50, 150.0)
T = np.arange(len(THETA)) / RATE_HZ


def night(severe_from_s: float = 40.0, severe_to_s: float = 52.0) -> Floats:
    """A film, then arcs of 150 mA for twelve seconds, sparse arcs of one polarity, and a film."""
    severe = (severe_from_s <= T) & (severe_to_s > T)
    sparse = (T >= 70) & (T < 80) & (sine(THETA) > 0) & (np.floor(T * 50) % 7 == 0)
    arcs = dead_band(45)(THETA) * np.where(severe, 150.0, np.where(sparse, 30.0, 0.0))
    return columns(np.where(severe | sparse, arcs, 3 * sine(THETA)), 17 * sine(THETA))


def played() -> Played:
    return measured(night(), describe(RATE_HZ))


FOUND = played()


def minutes() -> list[IntervalRow]:
    return FOUND.minutes()


def test_every_window_belongs_to_the_minute_in_which_it_starts() -> None:
    numbers = (FOUND.table.start_us // 60_000_000).tolist()
    for row in minutes():
        assert row.windows == numbers.count(row.start_us // 60_000_000)
    assert sum(row.windows for row in minutes()) == len(FOUND.table)


def test_rows_are_exact_sums_of_their_windows() -> None:
    table = FOUND.table
    numbers = table.start_us // 60_000_000
    for row in minutes():
        own = numbers == row.start_us // 60_000_000
        for name in ("halfcycles", "doubtful_halfcycles", "spike_halfcycles", "duration_us"):
            assert getattr(row, name) == int(getattr(table, name)[own].sum())
        for name in ("charge_nc", "arcing_charge_nc", "i2t_pa2s", "arcing_i2t_pa2s", "energy_uj"):
            assert list(getattr(row, name)) == getattr(table, name)[own].sum(axis=0).tolist()
        for name in ("pulses", "arc_pulses"):
            assert list(getattr(row, name)) == getattr(table, name)[own].sum(axis=0).tolist()
        arcs = table.arcing[own].sum(axis=0).tolist()
        assert [row.arcing_positive, row.arcing_negative] == arcs
        assert row.arcing_halfcycles == sum(arcs)


def test_covers_of_the_states_add_up_to_the_rows_own() -> None:
    for row in minutes():
        assert sum(row.state_us) == row.duration_us
    by_window = [
        int(FOUND.table.duration_us[FOUND.table.state == index].sum())
        for index in range(len(STATES))
    ]
    assert np.sum([row.state_us for row in minutes()], axis=0).tolist() == by_window


def test_rms_of_a_row_is_the_root_of_the_mean_square_of_its_windows() -> None:
    for row in minutes():
        own = FOUND.table.start_us // 60_000_000 == row.start_us // 60_000_000
        told = own & (FOUND.table.rms_na != ABSENT)
        weight = FOUND.table.duration_us[told].astype(float)
        square = np.average(FOUND.table.rms_na[told].astype(float) ** 2, weights=weight)
        assert row.rms_na is not None
        assert abs(row.rms_na / np.sqrt(square) - 1) < 1e-4


def test_a_minute_is_dense_only_where_half_of_a_polaritys_half_cycles_arc() -> None:
    """Twelve of sixty seconds are dense by themselves; the minute as a whole is sparse."""
    first, second, third = minutes()
    assert STATES[3] == "arcing-dense"
    assert first.state_us[3] >= 11_500_000
    assert first.state.value == "arcing-sparse"
    assert second.state.value == "arcing-sparse"
    assert (third.state.value, third.arcing_halfcycles) == ("wet", 0)


def test_sparse_arcs_of_one_polarity_stay_in_it() -> None:
    second = minutes()[1]
    assert second.arcing_positive >= 60
    assert second.arcing_negative == 0
    assert second.arcing_charge_nc[1] == 0


def test_ten_second_rows_come_while_arcing_is_severe_and_once_after() -> None:
    tens = [row for row in FOUND.rows if row.span is Span.TEN_SECONDS]
    begin_us = minutes()[0].start_us
    starts = [round((row.start_us - begin_us) / 1e6, 1) for row in tens]
    assert starts == [40.0, 50.0, 60.0]
    assert [row.arc_pulses[3] > 0 for row in tens] == [True, True, False]


def test_a_severe_stretch_can_begin_in_any_slot_of_a_minute() -> None:
    found = measured(night(1.0, 2.0), describe(RATE_HZ))
    tens = [row for row in found.rows if row.span is Span.TEN_SECONDS]
    begin_us = found.minutes()[0].start_us
    assert [round((row.start_us - begin_us) / 1e6, 1) for row in tens] == [0.0, 10.0]


def test_rows_come_in_the_order_in_which_they_end() -> None:
    ends = [row.start_us + row.duration_us for row in FOUND.rows]
    assert ends == sorted(ends)


def test_first_and_last_arc_of_a_row_lie_where_the_arcs_were() -> None:
    first = minutes()[0]
    assert first.first_arc_us is not None
    assert first.last_arc_us is not None
    assert abs(first.first_arc_us - 40_000_000) < 20_000
    assert abs(first.last_arc_us - 52_000_000) < 20_000
    assert minutes()[2].first_arc_us is None
