"""Samples that are absent or no numbers: said, never counted as calm, and forgotten soon after."""

from __future__ import annotations

import numpy as np
import pytest

from edge.measure.flags import flag_bits
from edge.measure.plan import plan_from_description
from edge.measure.windows import ABSENT, WindowTable
from edge.quantities import STATES, Flag
from edge.records import IntervalRow
from edge.samples import SampleBlock, StreamEnd
from tests.edge.measure.builders import (
    Floats,
    Played,
    anchor,
    angle,
    columns,
    dead_band,
    describe,
    fed,
    measured,
    same_tables,
    sine,
    states,
)

RATE_HZ = 10_000.0
THETA = angle(RATE_HZ, 50, 6.0)
CLEAN = columns(3 * sine(THETA), 17 * sine(THETA))
LOST_AT = 23_456
WINDOW = LOST_AT // 2000


def with_missing(samples: Floats, column: int, first: int, stop: int) -> Played:
    """The signal with one channel's samples marked as missing by the source."""
    missing = np.zeros(samples.shape, np.bool_)
    missing[first:stop, column] = True
    description = describe()
    blocks = [
        SampleBlock(at, samples[at : at + 5000], missing[at : at + 5000])
        for at in range(0, len(samples), 5000)
    ]
    items = [anchor(), *blocks, StreamEnd(len(samples), "end")]
    return fed(plan_from_description(description), description, items)


def flagged(table: WindowTable, flag: Flag) -> list[int]:
    return np.flatnonzero(table.flags & flag_bits(flag)).tolist()


def only_row(found: Played) -> IntervalRow:
    (row,) = found.minutes()
    return row


def test_one_missing_sample_makes_its_window_unknown_and_no_other() -> None:
    found = with_missing(CLEAN, 0, LOST_AT, LOST_AT + 1)
    assert flagged(found.table, Flag.MISSING) == [WINDOW]
    unknown = np.flatnonzero(found.table.state == STATES.index("unknown"))  # type: ignore[arg-type]
    assert unknown.tolist() == [WINDOW]
    clean = measured(CLEAN).table
    for part in (slice(0, WINDOW), slice(WINDOW + 1, None)):
        first, stop, _ = part.indices(len(clean))
        assert not same_tables(clean.rows(first, stop), found.table.rows(first, stop))


def test_a_window_with_a_missing_sample_adds_its_time_but_no_charge() -> None:
    table = with_missing(CLEAN, 0, LOST_AT, LOST_AT + 1).table
    assert table.duration_us[WINDOW] == 200_000
    assert table.charge_nc[WINDOW].tolist() == [0, 0]
    assert table.rms_na[WINDOW] == ABSENT
    assert table.halfcycles[WINDOW] == 20


def test_a_missing_sample_is_no_sensor_fault_and_no_silence() -> None:
    row = only_row(with_missing(CLEAN, 0, len(CLEAN) - 10, len(CLEAN)))
    assert Flag.MISSING.value in row.flags
    assert Flag.SENSOR_FAULT.value not in row.flags
    assert row.silent_from_us is None


def test_a_missing_sample_right_after_arcs_does_not_look_like_a_flashover() -> None:
    samples = columns(40 * dead_band(45)(THETA), 17 * sine(THETA))
    row = only_row(with_missing(samples, 0, len(samples) - 100, len(samples)))
    assert row.arcing_halfcycles > 500
    assert row.silent_from_us is None


def test_an_rms_over_a_minute_is_that_of_the_seconds_which_can_say() -> None:
    row = only_row(with_missing(CLEAN, 0, LOST_AT, LOST_AT + 1))
    assert row.rms_na == pytest.approx(3e6 / np.sqrt(2), rel=1e-4)
    assert row.state_us[STATES.index("unknown")] == 200_000  # type: ignore[arg-type]


def test_a_voltage_with_missing_samples_takes_phase_and_energy_but_not_the_current() -> None:
    found = with_missing(CLEAN, 1, LOST_AT, LOST_AT + 1)
    table = found.table
    assert flagged(table, Flag.REFERENCE_DOUBTFUL) == [WINDOW]
    assert table.in_phase_na[WINDOW] == ABSENT
    assert (table.energy_uj[WINDOW] == ABSENT).all()
    assert states(table) == {"wet"}
    assert (np.abs(table.charge_nc.sum(axis=1) - 381_940) < 100).all()
    assert only_row(found).energy_uj is None


@pytest.mark.parametrize("odd", [np.nan, np.inf, -np.inf, 1e6])
@pytest.mark.parametrize("column", [0, 1])
def test_a_number_that_is_none_is_lost_like_a_missing_sample(odd: float, column: int) -> None:
    """A current of a thousand amperes is no leakage current either."""
    spoiled = CLEAN.copy()
    spoiled[LOST_AT, column] = odd
    found = measured(spoiled)
    marked = with_missing(CLEAN, column, LOST_AT, LOST_AT + 1)
    assert same_tables(found.table, marked.table) == ["flags"] * (column == 0)


@pytest.mark.parametrize("odd", [np.nan, np.inf, -np.inf, 1e6, -1e300])
def test_a_number_that_is_none_is_said_by_its_window_and_its_row(odd: float) -> None:
    spoiled = CLEAN.copy()
    spoiled[LOST_AT, 0] = odd
    found = measured(spoiled)
    assert flagged(found.table, Flag.NOT_FINITE) == [WINDOW]
    assert flagged(found.table, Flag.MISSING) == []
    row, calm = only_row(found), measured(CLEAN).table
    assert Flag.NOT_FINITE.value in row.flags
    others = np.arange(len(calm)) != WINDOW
    assert row.charge_nc == tuple(calm.charge_nc[others].sum(axis=0).tolist())
    assert row.i2t_pa2s == tuple(calm.i2t_pa2s[others].sum(axis=0).tolist())


def test_absent_samples_and_no_numbers_in_one_window_are_both_said() -> None:
    samples = CLEAN.copy()
    samples[LOST_AT, 0] = np.nan
    table = with_missing(samples, 0, LOST_AT + 9, LOST_AT + 10).table
    assert flagged(table, Flag.NOT_FINITE) == flagged(table, Flag.MISSING) == [WINDOW]


@pytest.mark.parametrize("at", [3, 59_997])
def test_a_number_that_is_none_beside_the_whole_cycles_is_said_as_well(at: int) -> None:
    """The first and the last cycle are cut: such pieces add to the sums, but are not judged."""
    theta = angle(RATE_HZ, 50, 6.0, 200.0)
    samples = columns(3 * sine(theta), 17 * sine(theta))
    samples[at, 0] = np.nan
    table = measured(samples).table
    assert flagged(table, Flag.NOT_FINITE) == [0 if at < 1000 else len(table) - 1]


@pytest.mark.parametrize("size", [333, 5000, 60_000])
def test_what_is_said_of_numbers_that_are_none_does_not_hang_on_the_blocks(size: int) -> None:
    samples = CLEAN.copy()
    samples[[1999, 4000, 31_234, 40_001], 0] = np.nan
    assert not same_tables(measured(samples, size=size).table, measured(samples).table)


def test_a_whole_channel_that_is_not_finite_is_unknown_from_end_to_end() -> None:
    spoiled = CLEAN.copy()
    spoiled[:, 0] = np.nan
    found = measured(spoiled)
    row = only_row(found)
    assert states(found.table) == {"unknown"}
    assert (row.rms_na, row.h1_na, row.mean_na) == (None, None, None)
    assert row.charge_nc == (0, 0)
    assert row.duration_us == 6_000_000
    assert len(flagged(found.table, Flag.NOT_FINITE)) == len(found.table)
    assert not {Flag.MISSING.value, Flag.SENSOR_FAULT.value} & set(row.flags)


def test_a_voltage_lost_from_the_first_sample_on_leaves_the_current_to_keep_time() -> None:
    spoiled = CLEAN.copy()
    spoiled[:, 1] = np.nan
    row = only_row(measured(spoiled))
    assert Flag.NO_REFERENCE.value in row.flags
    assert row.frequency_millihz == pytest.approx(50_000, abs=1)
    assert row.halfcycles == 600


def test_missing_samples_in_the_first_half_second_do_not_spoil_the_clock() -> None:
    found = with_missing(CLEAN, 1, 100, 400)
    clean = measured(CLEAN)
    assert np.abs(found.table.start[1:] - clean.table.start[1:]).max() <= 1
    assert (np.abs(found.table.frequency_millihz[3:] - 50_000) < 5).all()
