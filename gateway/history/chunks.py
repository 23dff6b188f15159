"""Columns of whole numbers as bytes, for rows that came together and are read together.

A week of one column of one insulator is one piece of bytes: the narrowest whole numbers that hold
it, compressed. A year of minutes is read in a fraction of a second, where single rows would take
many. `ABSENT` stands for what was not given.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]

ABSENT = -(1 << 63)
"""No quantity of ours reaches it (`edge.quantities.INT64_MAX` bounds both sides)."""

WEEK_US = 7 * 24 * 3_600_000_000
"""Rows of one week, counted from 1970, lie together."""

CHUNK_ROWS_MAX = 700_000
"""Rows of one insulator in a week (one a second is 604,800); more are refused: sum them first."""

_WIDTHS = (1, 2, 4, 8)
_DIFFERENCED = 0x10
_LEVEL = 1  # of compression: the gain beyond is small, the time is not


def pack(column: Ints) -> bytes:
    """The bytes of a column; a rising one is kept by its steps."""
    rising = column.size > 1 and bool(np.all(column[1:] > column[:-1])) and column[0] != ABSENT
    code = _DIFFERENCED if rising else 0
    if rising:
        column = np.diff(column, prepend=np.int64(0))
    absent = column == ABSENT
    size = int(np.max(np.abs(np.where(absent, 0, column)), initial=0))
    width = next(one for one in _WIDTHS if size < 1 << (8 * one - 1))
    narrow = np.where(absent, -(1 << (8 * width - 1)), column).astype(f"<i{width}")
    return bytes([code | width]) + zlib.compress(narrow.tobytes(), _LEVEL)


def unpack(packed: bytes) -> Ints:
    """The column of these bytes."""
    width = packed[0] & 0x0F
    narrow = np.frombuffer(zlib.decompress(packed[1:]), f"<i{width}")
    column = narrow.astype(np.int64)
    if width < 8:
        column[narrow == -(1 << (8 * width - 1))] = ABSENT
    return np.cumsum(column) if packed[0] & _DIFFERENCED else column


def filled(columns: Mapping[str, Ints], names: Sequence[str], rows: int) -> dict[str, Ints]:
    """These columns, ABSENT throughout where one was not given."""
    nothing = np.full(rows, ABSENT)
    return {name: columns.get(name, nothing) for name in names}


def merged(
    there: Mapping[str, Ints], new: Mapping[str, Ints]
) -> tuple[dict[str, Ints], Bools, Bools]:
    """(rows of both, in order of `start_us`; which new ones were taken; which differ).

    The first row of a start stays. A new row that is neither taken nor differs was there already.
    Shape of both masks: (new rows,).
    """
    names = sorted({*there, *new})
    old_rows = there["start_us"].shape[0] if there else 0
    new_rows = new["start_us"].shape[0]
    old, young = filled(there, names, old_rows), filled(new, names, new_rows)
    both = {name: np.concatenate((old[name], young[name])) for name in names}
    order = np.argsort(both["start_us"], kind="stable")
    start = both["start_us"][order]
    first = np.concatenate(([True], start[1:] != start[:-1]))
    kept_by = order[first][np.cumsum(first) - 1]
    differ = np.zeros(order.shape[0], np.bool_)
    for column in both.values():
        differ |= column[order] != column[kept_by]
    taken, differs = np.zeros_like(first), np.zeros_like(first)
    taken[order], differs[order] = first, differ
    kept = {name: column[order[first]] for name, column in both.items()}
    return kept, taken[old_rows:], differs[old_rows:]
