"""Rows of a history as plain columns, ready for a data frame of any library.

    pandas.DataFrame(interval_frame(reader, "P3", from_us, to_us))

Times are numpy datetime64[us] in UTC; quantities are floats in the units of their names, NaN where
not measured; words are text. No such library is needed here.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from edge.quantities import BY_NAME
from gateway.history.chunks import ABSENT, Ints
from gateway.history.loaded import SITE, Columns, LoadedRows

Frame = dict[str, npt.NDArray[Any]]

INTERVAL = (
    "rms_na", "peak_ua", "mean_na", "h1_na", "in_phase_na", "quadrature_na", "halfcycles",
    "arcing_halfcycles", "arcing_positive", "arcing_negative", "doubtful_halfcycles",
    "arcing_peak_ua", "frequency_millihz", "voltage_mv",
)  # fmt: skip
"""Quantities of a row that are given where nothing else is asked for."""

WEATHER = ("rh_cpct", "air_cdegc", "dew_point_cdegc", "rain_um", "wind_mm_s", "wind_from_cdeg")


def interval_frame(
    reader: LoadedRows,
    insulator: str,
    start_us: int,
    end_us: int,
    quantities: Sequence[str] = INTERVAL,
) -> Frame:
    """Rows that a unit sent and that start in [start, end), in order of time: start, seconds, the
    quantities under their column names with units, state and flags."""
    names = ("duration_us", "state", "flags", *quantities)
    found = reader.live_columns(Columns.INTERVAL, insulator, names, start_us, end_us)
    return {
        **_times(found),
        **{BY_NAME[name].column: in_units(name, found[name]) for name in quantities},
        "state": _words(reader, found["state"], str),
        "flags": _words(reader, found["flags"], lambda word: "|".join(json.loads(word))),
    }


def weather_frame(reader: LoadedRows, start_us: int, end_us: int) -> Frame:
    """The site's weather, sent or loaded, in order of time."""
    given = (Columns.WEATHER, SITE, ("duration_us", *WEATHER), start_us, end_us)
    both = (reader.live_columns(*given), reader.loaded_columns(*given))
    found = {name: np.concatenate([one[name] for one in both]) for name in both[0]}
    order = np.argsort(found["start_us"], kind="stable")
    found = {name: column[order] for name, column in found.items()}
    return {
        **_times(found),
        **{BY_NAME[name].column: in_units(name, found[name]) for name in WEATHER},
    }


def in_units(name: str, column: Ints) -> npt.NDArray[np.float64]:
    """Whole numbers in the unit of the quantity's column; NaN where absent."""
    scaled = column / 10.0 ** BY_NAME[name].decimals
    return np.where(column == ABSENT, np.nan, scaled)


def _times(found: dict[str, Ints]) -> Frame:
    return {
        "start": found["start_us"].astype("datetime64[us]"),
        "seconds": found["duration_us"] / 1e6,
    }


def _words(reader: LoadedRows, numbers: Ints, plain: Any) -> npt.NDArray[Any]:
    distinct, places = np.unique(numbers, return_inverse=True)
    words = ["" if one == ABSENT else plain(reader.spell(int(one))) for one in distinct]
    return np.array(words, dtype=object)[places] if words else np.array([], dtype=object)
