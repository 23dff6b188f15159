"""What a replay left, as plain columns, ready for a data frame of any library.

    pandas.DataFrame(table_frame(folder / "intervals.csv"))

Times are numpy datetime64[us] in UTC; numbers are floats in the units of their names, NaN where
empty; words are text. No such library is needed here.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from gateway.replay.instants import instant_us
from gateway.replay.results import read_run

Frame = dict[str, npt.NDArray[Any]]

TIMES = frozenset(("start", "end"))
WORDS = frozenset(("insulator", "state", "flags", "calibration", "detector", "settings", "part"))


def table_frame(path: Path) -> Frame:
    """Any CSV file of a result: windows, intervals, watched, sweep. Raises InstantFault, OSError,
    ValueError where a cell is no number."""
    with path.open(newline="", encoding="utf-8") as stream:
        header, *rows = csv.reader(stream)
    across = list(zip(*rows, strict=True)) or [()] * len(header)
    return {name: _column(name, cells, path) for name, cells in zip(header, across, strict=True)}


def _column(name: str, cells: Sequence[str], path: Path) -> npt.NDArray[Any]:
    if name in TIMES:
        return np.array([instant_us(one, str(path)) for one in cells], dtype="datetime64[us]")
    if name in WORDS:
        return np.array(cells, dtype=object)
    return np.array([float(one) if one else np.nan for one in cells], dtype=np.float64)


def events_frame(folder: Path) -> Frame:
    """The condition changes of a result, in the order in which they were decided."""
    changes = read_run(folder).changes
    return {
        "at": np.array([one.at_us for one in changes], dtype="datetime64[us]"),
        "since": np.array([one.since_us for one in changes], dtype="datetime64[us]"),
        "alarm": np.array([one.alarm for one in changes], dtype=object),
        "subject": np.array([one.subject for one in changes], dtype=object),
        "condition": np.array([one.condition.value for one in changes], dtype=object),
        "priority": np.array([one.priority for one in changes], dtype=np.int64),
        "reason": np.array([one.reason for one in changes], dtype=object),
    }
