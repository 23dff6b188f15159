"""History rows gathered into the columns of a plot: least, middle and highest, and gaps as gaps.

No peak is dropped at any zoom: a column keeps the highest of its rows beside the middle one. A row
longer than a column counts in every column that it covers; a column without good cover is a gap,
never a zero. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.quantities import STATES
from gateway.trends.columns import Bools, Floats, IntervalColumns, Ints, Period, WeatherColumns

US_PER_MIN = 60_000_000

NOTHING = np.zeros(0)


@dataclass(frozen=True, slots=True, eq=False)
class Bins:
    """Columns of equal width over a period; NaN where nothing is known. Shape (columns,).

    start_us: of each column. low, middle, high: of the peak current [mA]. rms: middle [mA].
    arcs: arcing half-cycles a minute, the highest row's. state: the worst state's place in STATES,
    -1 where unknown. doubted: some row's flags forbid using its current.
    """

    width_us: int
    start_us: Ints
    low: Floats
    middle: Floats
    high: Floats
    rms: Floats
    arcs: Floats
    state: Ints
    doubted: Bools

    @property
    def known(self) -> Bools:
        """Columns with a current."""
        return np.isfinite(self.high)


_RANK = np.array([1, 2, 3, 4, 0, -1])
"""How bad each of STATES is; de-energised and unknown stand below everything that was seen."""

assert len(_RANK) == len(STATES)


def binned(rows: IntervalColumns, period: Period, count: int) -> Bins:
    """The rows of one insulator in `count` columns."""
    width_us = max(1, -(-(period.to_us - period.from_us) // count))
    start_us = period.from_us + width_us * np.arange(count, dtype=np.int64)
    row, column = _places(rows.start_us, rows.duration_us, period.from_us, width_us, count)
    doubted = np.zeros(count, np.bool_)
    if rows.doubted is not None:
        doubted[column[rows.doubted[row]]] = True
    good = slice(None) if rows.doubted is None else ~rows.doubted[row]
    row, column = row[good], column[good]
    peak_ma = _taken(rows.peak_ua, row, 1e-3)
    rms_ma = _taken(rows.rms_na, row, 1e-6)
    arcs = np.full(row.shape[0], np.nan)
    if rows.arcing_halfcycles is not None:
        minutes = np.maximum(rows.duration_us[row], 1) / US_PER_MIN
        arcs = rows.arcing_halfcycles[row] / minutes
    low, middle, high = _spread(peak_ma, column, count)
    return Bins(
        width_us,
        start_us,
        low,
        middle,
        high,
        _spread(rms_ma, column, count)[1],
        _spread(arcs, column, count)[2],
        _worst(rows.state, row, column, count),
        doubted,
    )


def humidity(weather: WeatherColumns | None, period: Period, count: int) -> Floats:
    """Middle relative humidity of each column [%]."""
    if weather is None:
        return np.full(count, np.nan)
    width_us = max(1, -(-(period.to_us - period.from_us) // count))
    row, column = _places(weather.start_us, weather.duration_us, period.from_us, width_us, count)
    return _spread(weather.rh_pct[row], column, count)[1]


def _places(
    start_us: Ints, duration_us: Ints, from_us: int, width_us: int, count: int
) -> tuple[Ints, Ints]:
    """(row, column) for each column that a row covers; a row that ends at a border is not over
    it."""
    first = (start_us - from_us) // width_us
    last = (start_us + np.maximum(duration_us, 1) - 1 - from_us) // width_us
    first, last = np.clip(first, 0, count), np.clip(last, -1, count - 1)
    many = np.maximum(last - first + 1, 0)
    row = np.repeat(np.arange(start_us.shape[0]), many)
    within = np.arange(row.shape[0]) - np.repeat(np.cumsum(many) - many, many)
    return row, (first[row] + within).astype(np.int64)


def _taken(column: Floats | None, row: Ints, step: float) -> Floats:
    return np.full(row.shape[0], np.nan) if column is None else column[row] * step


def _spread(found: Floats, column: Ints, count: int) -> tuple[Floats, Floats, Floats]:
    """Least, middle and highest of each column."""
    low, middle, high = (np.full(count, np.nan) for _ in range(3))
    finite = np.isfinite(found)
    found, column = found[finite], column[finite]
    if not found.size:
        return low, middle, high
    order = np.lexsort((found, column))
    found, column = found[order], column[order]
    starts = np.flatnonzero(np.diff(column, prepend=column[0] - 1))
    ends = np.append(starts[1:], column.shape[0])
    at = column[starts]
    low[at], high[at] = found[starts], found[ends - 1]
    middle[at] = found[(starts + ends - 1) // 2]
    return low, middle, high


def _worst(states: npt.NDArray[np.int8] | None, row: Ints, column: Ints, count: int) -> Ints:
    worst = np.full(count, -1, np.int64)
    if states is None:
        return worst
    code = np.asarray(states, np.int64)[row]
    seen = code >= 0
    code, column = code[seen], column[seen]
    order = np.argsort(_RANK[code], kind="stable")
    worst[column[order]] = code[order]
    return worst


def runs(chosen: Bools) -> list[tuple[int, int]]:
    """(first, after) of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], chosen, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]
