"""Many cells at once give exactly what one cell alone gives."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from edge.quantities import BY_NAME, from_column
from gateway.history.chunks import ABSENT, merged, pack, unpack
from gateway.loading.cells import decimals, instants

NAMES = ["rms_na", "arcing_i2t_pa2s", "halfcycles", "h3_cdeg", "energy_uj"]
ODD = st.sampled_from(
    ["", " ", "x", "nan", "inf", "-inf", "1e3", "1e400", "0x1", "1_0", "--1", ".5"]
)
DECIMAL = st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**20), max_value=10**20)
TIE = st.integers(-(10**9), 10**9).map(lambda n: f"{n}.{'0' * 11}5")
NEAR = st.tuples(st.integers(0, 10**6), st.integers(0, 10**14)).map(lambda p: f"{p[0]}.{p[1]:014d}")


@given(st.sampled_from(NAMES), st.lists(ODD | DECIMAL.map(str) | TIE | NEAR, max_size=20))
def test_a_column_of_decimals_is_read_as_each_of_them_would_be(name: str, texts: list[str]) -> None:
    quantity = BY_NAME[name]
    units, faults = decimals(quantity, texts)
    for place, text in enumerate(texts):
        try:
            alone = from_column(quantity, text) if text.strip() else ABSENT
        except ValueError:
            assert place in faults
        else:
            assert place not in faults and units[place] == alone


@given(st.datetimes(datetime(1970, 1, 1), datetime(2200, 1, 1)), st.sampled_from(["Z", "+00:00"]))
def test_a_time_is_read_to_the_microsecond(moment: datetime, zone: str) -> None:
    found, faults = instants("start", [moment.isoformat() + zone])
    assert not faults
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    assert epoch + timedelta(microseconds=int(found[0])) == moment.replace(tzinfo=UTC)


COLUMN = st.lists(st.just(ABSENT) | st.integers(-(2**63) + 1, 2**63 - 1), max_size=30)
SMALL = st.lists(st.just(ABSENT) | st.integers(-129, 128), max_size=30)
RISING = st.lists(st.integers(0, 10**15), max_size=30, unique=True).map(sorted)


@given(COLUMN | SMALL | RISING)
def test_a_packed_column_comes_back_number_by_number(column: list[int]) -> None:
    assert unpack(pack(np.array(column, np.int64))).tolist() == column


ROWS = st.lists(st.tuples(st.integers(0, 8), st.integers(0, 1)), min_size=1, max_size=15)


@given(ROWS, ROWS)
def test_rows_beside_rows_keep_the_first_of_each_start(
    old: list[tuple[int, int]], new: list[tuple[int, int]]
) -> None:
    def columns(rows: list[tuple[int, int]]) -> dict[str, np.ndarray]:
        return {"start_us": np.array([r[0] for r in rows]), "x": np.array([r[1] for r in rows])}

    there = merged({}, columns(old))[0]
    kept, taken, differs = merged(there, columns(new))
    known: dict[int, int] = {}
    for start, x in old:
        known.setdefault(start, x)
    for place, (start, x) in enumerate(new):
        assert bool(taken[place]) == (start not in known)
        assert bool(differs[place]) == (known.setdefault(start, x) != x)
    assert dict(zip(kept["start_us"].tolist(), kept["x"].tolist(), strict=True)) == known
    assert kept["start_us"].tolist() == sorted(known)
