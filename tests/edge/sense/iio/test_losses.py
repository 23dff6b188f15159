"""What the kernel dropped, told from stamps that may be late but never early."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge.sense.iio.losses import RUN_SCANS_MIN, Dating, judged
from tests.edge.sense.iio.tree_builder import PERIOD_NS


def counters_of(stamps_ns: np.ndarray, cuts: list[int]) -> tuple[np.ndarray, int]:
    """The counter of every scan when the stamps come cut at these places, and what was lost."""
    dating, waiting, found = Dating(PERIOD_NS), stamps_ns[:0], []
    for piece in np.split(stamps_ns, cuts):
        waiting = np.concatenate([waiting, piece])
        dating, runs = judged(dating, waiting)
        for first, end, counter in runs:
            found.append(np.arange(counter, counter + end - first))
        waiting = waiting[runs[-1][1] if runs else 0 :]
        assert len(waiting) < RUN_SCANS_MIN
    dating, runs = judged(dating, waiting, last=True)
    found += [np.arange(counter, counter + end - first) for first, end, counter in runs]
    return np.concatenate(found), dating.lost


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32), st.lists(st.integers(1, 999), max_size=6), st.floats(-8e-4, 8e-4))
def test_late_stamps_and_a_rate_that_is_off_lose_nothing(
    seed: int, cuts: list[int], rate_error: float
) -> None:
    dice = np.random.default_rng(seed)
    late_ns = dice.exponential(0.05, 1000) + (dice.random(1000) < 0.05) * dice.uniform(0, 3, 1000)
    stamps_ns = ((np.arange(1000) * (1 + rate_error) + late_ns) * PERIOD_NS).astype(np.int64)
    found, lost = counters_of(np.maximum.accumulate(stamps_ns), sorted(cuts))
    assert lost == 0
    np.testing.assert_array_equal(found, np.arange(1000))


@pytest.mark.parametrize("gap", [1, 2, 40, 5_000])
@pytest.mark.parametrize("cuts", [[], [300], [317], [100, 316, 318, 640], [333]])
def test_scans_that_were_dropped_leave_a_jump_of_their_number_where_they_were(
    gap: int, cuts: list[int]
) -> None:
    true = np.concatenate([np.arange(317), np.arange(317 + gap, 900 + gap)])
    late_ns = np.random.default_rng(gap).exponential(0.05, len(true))
    found, lost = counters_of(((true + late_ns) * PERIOD_NS).astype(np.int64), cuts)
    assert lost == gap
    np.testing.assert_array_equal(found, true)


def test_a_clock_that_is_set_back_loses_nothing_and_jumps_nowhere() -> None:
    stamps_ns = (np.arange(600) * PERIOD_NS).astype(np.int64)
    stamps_ns[300:] -= 3_600_000_000_000
    found, lost = counters_of(stamps_ns, [300])
    assert lost == 0 and found.tolist() == list(range(600))
