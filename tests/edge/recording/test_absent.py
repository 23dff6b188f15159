"""Values that are absent and rows that were cut off are told from values that are there."""

from __future__ import annotations

import math

import numpy as np
import pytest

from edge.recording import feed, read_pair
from edge.recording.record import Record
from tests.edge.recording.builders import (
    RAMP,
    binary,
    configuration,
    configuration_1991,
    ending,
    joined,
    text,
)

TEXT_ROWS = [f"{n},{100 * (n - 1)},{n},{-n}" for n in range(1, 9)]


def samples_of(record: Record) -> list[list[float]]:
    return joined(list(feed([record], block_samples=3)))[1]


@pytest.mark.parametrize(
    ("cfg", "rows"),
    [
        (configuration(), binary([[1, 2], [-0x8000, 3], [4, 5]])),
        (
            configuration(kind="BINARY32"),
            binary([[1, 2], [-(1 << 31), 3], [4, 5]], kind="BINARY32"),
        ),
        (configuration_1991(kind="BINARY"), binary([[1, 2], [-1, 3], [4, 5]])),
        (configuration(kind="ASCII"), text(["1,0,1,2", "2,100,,3", "3,200,4,5"])),
        (configuration(kind="ASCII"), text(["1,0,1,2", "2,100,99999,3", "3,200,4,5"])),
        (configuration_1991(), text(["1,0,1,2", "2,100, ,3", "3,200,4,5"])),
    ],
)
def test_a_missing_code_is_marked_missing(cfg: bytes, rows: bytes) -> None:
    cfg = cfg.replace(b"10000,8", b"10000,3")
    counters, samples, missing = joined(
        list(feed([read_pair(cfg, rows, name="a.cfg")], block_samples=2))
    )
    assert counters == [0, 1, 2]
    assert missing == [[False, False], [True, False], [False, False]]
    assert [samples[0], samples[1][1], samples[2]] == [[1, 2], 3, [4, 5]]


def test_minus_one_is_a_value_after_1991() -> None:
    _, _, missing = joined(
        list(feed([read_pair(configuration(), binary([[-1, -1]] * 8), name="a")], block_samples=9))
    )
    assert not np.any(missing)


def test_not_a_number_stays_a_sample() -> None:
    rows = binary([[math.nan, 1.0]] * 8, kind="FLOAT32")
    record = read_pair(configuration(kind="FLOAT32"), rows, name="a.cfg")
    counters, samples, missing = joined(list(feed([record], block_samples=8)))
    assert len(counters) == 8
    assert math.isnan(samples[0][0])
    assert not np.any(missing)


@pytest.mark.parametrize("lost", [1, 11, 12, 13, 40])
def test_whole_rows_before_a_cut_are_delivered_and_the_end_says_so(lost: int) -> None:
    rows = binary(RAMP)
    record = read_pair(configuration(), rows[:-lost], name="a.cfg")
    items = list(feed([record], block_samples=100))
    whole = (len(rows) - lost) // 12
    assert joined(items)[1] == RAMP[:whole]
    assert ending(items).counter == whole
    assert f"a.dat is cut short: {whole} whole rows, 8 declared" in ending(items).reason


def test_a_last_ascii_line_without_its_end_is_not_trusted_after_a_cut() -> None:
    rows = text([*TEXT_ROWS[:3], "4,300,1234,56"]).rstrip()[:-1]
    record = read_pair(configuration(kind="ASCII"), rows, name="a.cfg")
    assert samples_of(record) == RAMP[:3]
    assert "3 whole rows, 8 declared" in record.cut
