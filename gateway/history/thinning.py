"""Rows of a minute put together to rows of ten minutes or an hour, sums exact. Pure.

Rows of one tick become one row while their flags and calibration are the same; where those change
within a tick there is a row for each run, so that doubt neither spreads nor is lost. Times of
covering rows add up, so a tick with a hole has a row shorter than the tick.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from edge.quantities import BOTH_POLARITIES, HALFCYCLE_COUNTS, PULSE_COUNTS, STATES
from gateway.history.chunks import ABSENT, Bools, Floats, Ints

TICK_US = 600_000_000
"""Ten minutes of UTC; an hour is six."""
HOUR_US = 6 * TICK_US

STATE_COVER = tuple(f"{state.value.replace('-', '_')}_us" for state in STATES)
_POLES = ("positive", "negative")


def _by_pole(name: str) -> tuple[str, ...]:
    stem, unit = name.rsplit("_", 1)
    return tuple(f"{stem}_{pole}_{unit}" for pole in _POLES)


SUMS = frozenset(
    (
        "duration_us",
        "windows",
        *HALFCYCLE_COUNTS,
        "clipped_halfcycles",
        *STATE_COVER,
        *BOTH_POLARITIES,
        *(name for both in BOTH_POLARITIES for name in _by_pole(both)),
        *PULSE_COUNTS,
    )
)
"""Added."""
HIGHEST = frozenset(("peak_ua", "arcing_peak_ua"))
"""The highest is kept."""
SQUARES = frozenset(("rms_na", "h1_na"))
"""Root of the mean square over the time covered; rounded."""
MEANS = frozenset(
    ("frequency_millihz", "voltage_mv", "mean_na", "h2_ppm", "h3_ppm", "h5_ppm", "h5_h3_ppm",
     "thd_ppm", "in_phase_na", "quadrature_na")
)  # fmt: skip
"""Mean over the time covered; rounded."""
ANGLES = frozenset(("h3_cdeg",))
"""Mean direction."""
ALIKE = ("flags", "calibration")
"""The same in all rows of a run."""
KEPT = frozenset((*SUMS, *HIGHEST, *SQUARES, *MEANS, *ANGLES, *ALIKE, "start_us", "state"))
"""What a thinned row has; the rest (counters, moments within the row) goes."""


def thinned(columns: Mapping[str, Ints], tick_us: int) -> dict[str, Ints]:
    """Rows in any order, one or more for each tick; columns are those of KEPT, ABSENT where a row
    does not have one."""
    order = np.argsort(columns["start_us"], kind="stable")
    ordered = {name: column[order] for name, column in columns.items() if name in KEPT}
    starts = _run_starts(ordered, tick_us)
    weight = ordered["duration_us"].astype(np.float64)
    found = {
        name: _together(name, column, starts, weight)
        for name, column in ordered.items()
        if name != "state"
    }
    if "state" in ordered:
        found["state"] = _state(ordered, found, starts, weight)
    return found


def _run_starts(ordered: Mapping[str, Ints], tick_us: int) -> Ints:
    key = [ordered["start_us"] // tick_us, *(ordered[one] for one in ALIKE if one in ordered)]
    edge = np.zeros(ordered["start_us"].shape[0], np.bool_)
    edge[:1] = True
    for one in key:
        edge[1:] |= one[1:] != one[:-1]
    return np.flatnonzero(edge)


def _together(name: str, column: Ints, starts: Ints, weight: Floats) -> Ints:
    if name == "start_us" or name in ALIKE:
        return column[starts]
    known = column != ABSENT
    if name in SUMS:
        found = np.add.reduceat(np.where(known, column, 0), starts)
    elif name in HIGHEST:
        found = np.maximum.reduceat(column, starts)
    else:
        found = np.rint(_mean(name, column, starts, np.where(known, weight, 0.0))).astype(np.int64)
    return np.where(np.logical_or.reduceat(known, starts), found, ABSENT)


def _mean(name: str, column: Ints, starts: Ints, weight: Floats) -> Floats:
    total = np.maximum(np.add.reduceat(weight, starts), 1e-9)
    number = np.where(weight > 0, column, 0).astype(np.float64)
    if name in SQUARES:
        return np.asarray(np.sqrt(np.add.reduceat(weight * np.square(number), starts) / total))
    if name in ANGLES:
        angle = np.radians(number / 100.0)
        east, north = (
            np.add.reduceat(weight * one, starts) for one in (np.sin(angle), np.cos(angle))
        )
        return np.asarray(np.degrees(np.arctan2(east, north)) * 100.0)
    return np.asarray(np.add.reduceat(weight * number, starts) / total)


def _state(
    ordered: Mapping[str, Ints], found: Mapping[str, Ints], starts: Ints, weight: Floats
) -> Ints:
    """The state with the longest cover; the later of two in the list where they are even."""
    if all(name in found and not _absent(found[name]) for name in STATE_COVER):
        covers = np.stack([found[name] for name in STATE_COVER])
    else:
        covers = np.stack(
            [np.add.reduceat(np.where(ordered["state"] == k, weight, 0.0), starts)
             for k in range(len(STATES))]
        )  # fmt: skip
    longest = len(STATES) - 1 - np.argmax(covers[::-1], axis=0)
    known: Bools = np.logical_or.reduceat(ordered["state"] != ABSENT, starts)
    return np.where(known, longest, ABSENT).astype(np.int64)


def _absent(column: Ints) -> bool:
    return bool((column == ABSENT).all())
