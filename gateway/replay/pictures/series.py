"""What a picture's curves are drawn from: windows of a short feed, minutes of a long one.

Columns of one insulator in order of time. Put together into few enough columns for a page, the
highest peak stays and the most severe state names its column, so nothing short is lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from edge.measure.windows import ABSENT, WindowTable
from edge.quantities import STATES, State
from edge.records import IntervalRow

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

COLUMNS_MAX = 1_400
"""More are put together: a page has no more points across."""

SEVERITY = {
    State.DRY: 0,
    State.DE_ENERGISED: 1,
    State.UNKNOWN: 2,
    State.WET: 3,
    State.ARCING_SPARSE: 4,
    State.ARCING_DENSE: 5,
}
"""Which state names a column that holds several."""

_RANK = np.array([SEVERITY[state] for state in STATES])


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """One entry a window, minute or column; NaN where it could not be said.

    begin_us, end_us: UTC. state: index into STATES. positive, negative, doubtful: half-cycles that
    arc, by polarity, or could not be told, of `halfcycles`.
    """

    begin_us: Integers
    end_us: Integers
    state: Integers
    peak_ma: Floats
    rms_ma: Floats
    h3: Floats
    h5: Floats
    thd: Floats
    positive: Integers
    negative: Integers
    doubtful: Integers
    halfcycles: Integers

    def __len__(self) -> int:
        return len(self.begin_us)


def of_windows(table: WindowTable) -> Series:
    """Of windows; they keep their own resolution."""
    return Series(
        begin_us=table.start_us,
        end_us=table.start_us + table.duration_us,
        state=table.state,
        peak_ma=_scaled(table.peak_ua, 1e3),
        rms_ma=_scaled(table.rms_na, 1e6),
        h3=_scaled(table.h3_ppm, 1e6),
        h5=_scaled(table.h5_ppm, 1e6),
        thd=_scaled(table.thd_ppm, 1e6),
        positive=table.arcing[:, 0],
        negative=table.arcing[:, 1],
        doubtful=table.doubtful_halfcycles,
        halfcycles=table.halfcycles,
    )


def of_minutes(rows: Sequence[IntervalRow]) -> Series:
    """Of minute rows."""
    begin_us = np.array([row.start_us for row in rows], np.int64)

    def told(name: str, units: float) -> Floats:
        found = [getattr(row, name) for row in rows]
        return np.array([np.nan if one is None else one / units for one in found], np.float64)

    def count(name: str) -> Integers:
        return np.array([getattr(row, name) for row in rows], np.int64)

    return Series(
        begin_us=begin_us,
        end_us=begin_us + count("duration_us"),
        state=np.array([STATES.index(row.state) for row in rows], np.int64),
        peak_ma=told("peak_ua", 1e3),
        rms_ma=told("rms_na", 1e6),
        h3=told("h3_ppm", 1e6),
        h5=told("h5_ppm", 1e6),
        thd=told("thd_ppm", 1e6),
        positive=count("arcing_positive"),
        negative=count("arcing_negative"),
        doubtful=count("doubtful_halfcycles"),
        halfcycles=count("halfcycles"),
    )


def _scaled(units: Integers, per: float) -> Floats:
    return np.where(units == ABSENT, np.nan, units / per)


def thinned(series: Series, columns: int = COLUMNS_MAX) -> Series:
    """At most so many columns: highest current, most severe state, sums of half-cycles, and the
    highest ratio."""
    if len(series) <= columns:
        return series
    step = -(-len(series) // columns)
    starts = np.arange(0, len(series), step)
    gathered: dict[str, npt.NDArray[np.generic]] = {}
    for each in fields(Series):
        column = getattr(series, each.name)
        if each.name == "state":
            order = _RANK[column]
            worst = np.maximum.reduceat(order, starts)
            gathered[each.name] = np.argsort(_RANK)[worst]
        elif each.name == "begin_us":
            gathered[each.name] = column[starts]
        elif each.name == "end_us":
            gathered[each.name] = np.maximum.reduceat(column, starts)
        elif each.name in ("positive", "negative", "doubtful", "halfcycles"):
            gathered[each.name] = np.add.reduceat(column, starts)
        else:
            gathered[each.name] = np.fmax.reduceat(column, starts)
    return Series(**gathered)  # type: ignore[arg-type]
