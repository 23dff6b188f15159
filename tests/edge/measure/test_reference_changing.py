"""A voltage that goes while the current flows, and one that comes back, within ten minutes."""

from __future__ import annotations

import numpy as np
import pytest

from edge.measure.flags import flag_bits
from edge.measure.windows import ABSENT
from edge.quantities import STATES, Flag
from tests.edge.measure.builders import (
    Floats,
    Played,
    angle,
    columns,
    dead_band,
    describe,
    measured,
    same_tables,
    sine,
)

RATE_HZ = 4_800.0
HZ = 50.03
"""Off nominal, so that a clock that only coasts runs out of step."""

THETA = angle(RATE_HZ, HZ, 12.0, 40.0)
AT = np.arange(len(THETA)) / RATE_HZ
KV = 17 * sine(THETA)
FILM = 8 * sine(THETA) + 0.2 * np.cos(THETA)
LATEST_S = 1.0
"""Half a second to see it, and the window that is open then."""


def played(current: Floats, volts: Floats, size: int = 1 << 16) -> Played:
    return measured(columns(current, volts), describe(RATE_HZ), size=size)


def said(found: Played, flag: Flag) -> Floats:
    """Seconds at which the windows with a flag begin."""
    return found.table.start[found.table.flags & flag_bits(flag) != 0] / RATE_HZ


def whole_cover(found: Played) -> None:
    table = found.table
    ends = table.start + np.rint(table.duration_us * RATE_HZ / 1e6).astype(np.int64)
    assert np.array_equal(table.start[1:], ends[:-1])
    assert (table.start[0], ends[-1]) == (0, len(THETA))
    assert abs(int(table.halfcycles.sum()) - round(12.0 * 2 * HZ)) <= 2
    charge_nc = np.abs(FILM).sum() / RATE_HZ * 1e6
    assert table.charge_nc.sum() == pytest.approx(charge_nc, rel=1e-3)


def test_a_voltage_that_goes_leaves_the_current_to_keep_time_and_the_windows_say_so() -> None:
    found = played(FILM, np.where(AT < 4.3, KV, 0.0))
    whole_cover(found)
    late = found.table.start / RATE_HZ > 4.3
    assert np.array_equal(said(found, Flag.NO_REFERENCE), found.table.start[late] / RATE_HZ)
    assert (found.table.energy_uj[late] == ABSENT).all()
    assert (found.table.in_phase_na[late] == ABSENT).all()
    after = found.table.start / RATE_HZ > 4.3 + LATEST_S
    assert np.abs(found.table.frequency_millihz[after][:-1] - 1000 * HZ).max() <= 2


def test_arcs_are_still_told_after_the_voltage_is_gone() -> None:
    """A clock that coasts at the last frequency it saw is out of step soon; this one is not."""
    current = 30 * dead_band(40)(THETA)
    found = played(current, np.where(AT < 4.3, KV, 0.01 * KV))
    after = found.table.rows(*np.searchsorted(found.table.start, [6 * RATE_HZ, 11.5 * RATE_HZ]))
    assert (after.arcing.sum(axis=1) == after.halfcycles).all()


def test_a_voltage_that_comes_back_is_measured_against_within_a_second() -> None:
    found = played(FILM, np.where(AT < 4.3, 0.0, KV))
    whole_cover(found)
    unsaid = said(found, Flag.NO_REFERENCE)
    assert unsaid[0] == 0.0
    assert 4.3 < unsaid[-1] < 4.3 + LATEST_S
    with_it = found.table.start / RATE_HZ > unsaid[-1]
    assert not found.table.flags[with_it].max() & flag_bits(Flag.REFERENCE_DOUBTFUL)
    told = found.table.in_phase_na[with_it][:-1]
    assert np.abs(told / (8e6 / np.sqrt(2)) - 1).max() < 2e-3
    assert (found.table.energy_uj[with_it] != ABSENT).all()


def test_a_line_that_is_switched_off_and_on_stays_one_measurement() -> None:
    """Neither current nor voltage: there is nothing to measure against, and no doubt either."""
    on = (AT < 4.3) | (AT > 7.0)
    found = played(np.where(on, FILM, 0.0), np.where(on, KV, 0.0))
    assert np.abs(said(found, Flag.NO_REFERENCE) + 0.1 - 7.0).max(initial=0.0) < 0.2
    assert found.minutes()[0].energy_uj is not None
    named = {STATES[state].value for state in found.table.state[24:33].tolist()}
    assert named == {"de-energised"}


def test_a_short_interruption_changes_nothing_but_its_own_windows() -> None:
    found = played(FILM, np.where((AT > 4.0) & (AT < 4.3), 0.0, KV))
    unsaid = said(found, Flag.NO_REFERENCE)
    assert len(unsaid) in (1, 2)
    assert np.abs(unsaid - 4.1).max() < 0.2


def test_a_voltage_whose_samples_are_missing_is_gone_as_well() -> None:
    found = played(FILM, np.where(AT < 4.3, KV, np.nan))
    assert Flag.NO_REFERENCE.value in found.minutes()[0].flags
    assert said(found, Flag.NO_REFERENCE)[-1] > 11.0


@pytest.mark.parametrize("size", [479, 5_000])
def test_where_the_reference_changes_does_not_hang_on_the_blocks(size: int) -> None:
    volts = np.where((AT > 3.1) & (AT < 6.4), 0.0, KV)
    whole, cut = played(FILM, volts), played(FILM, volts, size)
    assert not same_tables(whole.table, cut.table)
    assert whole.rows == cut.rows


def test_insulators_of_all_phases_lose_no_sample_where_the_voltage_goes() -> None:
    turns = (0.0, -2 * np.pi / 3, 2 * np.pi / 3)
    currents = [8 * sine(THETA + turn) for turn in turns]
    volts = np.where(AT < 5.0, KV, 0.0)
    description = describe(RATE_HZ, currents=("A", "B", "C"))
    found = measured(columns(*currents, volts), description)
    for current, table in zip(currents, found.windows.values(), strict=True):
        assert table.duration_us.sum() == 12_000_000
        assert abs(int(table.halfcycles.sum()) - round(12.0 * 2 * HZ)) <= 3
        charge_nc = np.abs(current).sum() / RATE_HZ * 1e6
        assert table.charge_nc.sum() == pytest.approx(charge_nc, rel=1e-3)
