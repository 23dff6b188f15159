"""A site's interval rows by columns, ready to be written: a day of one insulator at a time.

Numbers stay whole, with their places beside them, so that what is written is exact.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from edge.quantities import BOTH_POLARITIES, BY_NAME, STATES
from gateway.history.chunks import ABSENT, Ints
from gateway.history.loaded import Columns, LoadedRows
from gateway.loading.glossary import INTERVAL_MEASURES, Measure

STEP_US = 28 * 24 * 3_600_000_000
"""Rows of so much time of one insulator are in memory at once."""

SENT, LOADED = "unit", "loaded"
"""Where a row came from, in the column `origin`."""


@dataclass(frozen=True, slots=True)
class Out:
    """One column that is written. places: decimals of its numbers; None: text."""

    name: str
    places: int | None


COLUMNS: tuple[Out, ...] = (
    Out("insulator", None),
    Out("start", None),
    Out("seconds", BY_NAME["duration_us"].decimals),
    Out("origin", None),
    Out("state", None),
    *(Out(one.column, one.quantity.decimals) for one in INTERVAL_MEASURES),
    Out("flags", None),
)
"""Columns of an export, in order; `seafret load` reads them again."""


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """Rows of one insulator in order of time. words: state and flags as text. numbers: by column,
    ABSENT where not measured."""

    insulator: str
    origin: str
    start_us: Ints
    numbers: dict[str, Ints]
    state: list[str]
    flags: list[str]


def exported(
    rows: LoadedRows, insulators: Sequence[str], start_us: int, end_us: int
) -> Iterator[Rows]:
    """All interval rows that start in [start, end): by insulator, by time, sent ones first."""
    names = ("duration_us", "state", "flags", *(one.name for one in INTERVAL_MEASURES))
    for insulator in insulators:
        for begin in range(start_us // STEP_US * STEP_US, end_us, STEP_US):
            read = (Columns.INTERVAL, insulator, names, max(begin, start_us),
                    min(begin + STEP_US, end_us))  # fmt: skip
            for origin, found in (
                (SENT, rows.live_columns(*read)),
                (LOADED, rows.loaded_columns(*read)),
            ):
                if found["start_us"].size:
                    yield _rows(rows, insulator, origin, found)


def _rows(rows: LoadedRows, insulator: str, origin: str, found: dict[str, Ints]) -> Rows:
    states = [state.value for state in STATES]
    spell = rows.spell if origin == SENT else states.__getitem__
    numbers = {one.column: _measured(one, found) for one in INTERVAL_MEASURES}
    return Rows(
        insulator,
        origin,
        found["start_us"],
        {"seconds": found["duration_us"], **numbers},
        ["" if code == ABSENT else spell(code) for code in found["state"].tolist()],
        [_flags(rows, number) for number in found["flags"].tolist()],
    )


def _flags(rows: LoadedRows, number: int) -> str:
    return "" if number == ABSENT else "|".join(json.loads(rows.spell(number)))


def _measured(measure: Measure, found: dict[str, Ints]) -> Ints:
    """The column; a sum that was only kept by polarity is put together."""
    column = found[measure.name]
    if measure.name not in BOTH_POLARITIES:
        return column
    stem, unit = measure.name.rsplit("_", 1)
    positive, negative = (found[f"{stem}_{pole}_{unit}"] for pole in ("positive", "negative"))
    both = (positive != ABSENT) & (negative != ABSENT) & (column == ABSENT)
    return np.where(both, positive + np.where(both, negative, 0), column)
