"""The exposure ledger: what a surface has borne, summed exactly from the integers of its rows.

Damage follows the level of arcing and the time spent in it, so arcing half-cycles by the level of
their row's peak are kept beside charge, i squared t and energy. No remaining life is computed: no
published coefficient from charge to erosion was found. Exposure is shown and ranked, no more.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from edge.quantities import PULSE_LEVELS_MA
from gateway.trends.columns import DAY_US, HOUR_US, Findings, IntervalColumns, Ints
from gateway.trends.hours import SiteHours, in_order
from gateway.trends.wetness import Episodes, episodes_of, is_time_of_wetness, wet_hours

ADDED = (
    "duration_us",
    "halfcycles",
    "arcing_halfcycles",
    "charge_nc",
    "arcing_charge_nc",
    "i2t_pa2s",
    "arcing_i2t_pa2s",
    "energy_uj",
)
"""Columns that are summed; one that no row has stays None."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the ledger, from_us to to_us (end excluded). sums: of each column of ADDED; None
    where not measured. by_level: arcing half-cycles whose row peaked up to the first level, up to
    the second, ..., above the last of PULSE_LEVELS_MA."""

    from_us: int
    to_us: int
    rows: int
    sums: Mapping[str, int | None]
    by_level: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Environment:
    """The environment's share of ageing over a span: hours of wetness (ISO 9223, as recalled), wet
    hours by salt's own limits, ultraviolet dose [J/m2], hours without weather."""

    wetness_h: int
    wet_h: int
    uv_j_m2: float | None
    unknown_h: int


@dataclass(frozen=True, slots=True)
class Ledger:
    """Exposure of one insulator; each level's lines add up to `life`."""

    days: tuple[Entry, ...]
    months: tuple[Entry, ...]
    episodes: tuple[Entry, ...]
    dry_between: Entry | None
    life: Entry | None
    found: Findings


def ledger_of(rows: IntervalColumns, grid: SiteHours | None) -> Ledger:
    """The ledger of rows in any order; overlapping rows are left out and said.

    A row belongs to the day, month and episode in which it starts. dry_between: what lies outside
    every wet episode. Without weather there are no episodes.
    """
    rows, found = in_order(rows)
    if not rows.start_us.size:
        return Ledger((), (), (), None, None, found)
    days = _entries(rows, rows.start_us // DAY_US, _day_span)
    months = _entries(rows, month_of(rows.start_us), _month_span)
    whole = np.zeros(rows.start_us.shape[0], np.int64)
    end_us = int(rows.start_us[-1] + rows.duration_us[-1])
    life = _entries(rows, whole, lambda _: (int(rows.start_us[0]), end_us))[0]
    episodes, dry = ((), None) if grid is None else _by_episode(rows, grid)
    return Ledger(days, months, episodes, dry, life, found)


def _by_episode(rows: IntervalColumns, grid: SiteHours) -> tuple[tuple[Entry, ...], Entry | None]:
    spans = episodes_of(wet_hours(grid.rh_pct, grid.rain_mm))
    hour = rows.start_us // HOUR_US - grid.first_hour
    at = np.searchsorted(spans.first, hour, side="right") - 1
    within = (at >= 0) & (hour < spans.after[np.maximum(at, 0)]) if spans.first.size else at >= 0
    key = np.where(within, at, -1)
    order = np.argsort(key, kind="stable")
    entries = _entries(rows, key, lambda one: _episode_span(spans, grid, one), order)
    if entries and not bool(within.all()):
        return entries[1:], entries[0]
    return entries, None


def _episode_span(spans: Episodes, grid: SiteHours, one: int) -> tuple[int, int]:
    if one < 0:
        first, after = 0, grid.count
    else:
        first, after = int(spans.first[one]), int(spans.after[one])
    return (grid.first_hour + first) * HOUR_US, (grid.first_hour + after) * HOUR_US


def _entries(
    rows: IntervalColumns,
    key: Ints,
    span: Callable[[int], tuple[int, int]],
    order: Ints | None = None,
) -> tuple[Entry, ...]:
    """One line for each run of equal keys in this order; sums of int64 are exact."""
    sorted_key = key if order is None else key[order]
    starts = np.flatnonzero(np.diff(sorted_key, prepend=sorted_key[0] - 1))
    counts = np.diff(starts, append=sorted_key.shape[0])
    sums = {name: _sums(getattr(rows, name), order, starts) for name in ADDED}
    levels = _by_level(rows, order, starts)
    return tuple(
        Entry(
            *span(int(sorted_key[starts[k]])),
            rows=int(counts[k]),
            sums={name: None if one is None else int(one[k]) for name, one in sums.items()},
            by_level=() if levels is None else tuple(levels[k].tolist()),
        )
        for k in range(starts.shape[0])
    )


def _sums(column: Ints | None, order: Ints | None, starts: Ints) -> Ints | None:
    if column is None:
        return None
    ordered = column if order is None else column[order]
    return np.asarray(np.add.reduceat(ordered.astype(np.int64, copy=False), starts))


def _by_level(rows: IntervalColumns, order: Ints | None, starts: Ints) -> Ints | None:
    """Arcing half-cycles of each run by the level of their row's peak, shape (runs, levels); None
    where not measured. Exact: a sum of half-cycles is far below 2**53."""
    if rows.arcing_halfcycles is None or rows.peak_ua is None:
        return None
    arcing = rows.arcing_halfcycles if order is None else rows.arcing_halfcycles[order]
    at = np.flatnonzero(arcing > 0)
    peaks = rows.peak_ua[at if order is None else order[at]]
    edges = np.array(PULSE_LEVELS_MA) * 1000.0
    level = np.searchsorted(edges, np.nan_to_num(peaks), side="left")
    run = np.searchsorted(starts, at, side="right") - 1
    count = edges.shape[0] + 1
    flat = np.bincount(run * count + level, arcing[at], starts.shape[0] * count)
    return flat.astype(np.int64).reshape(-1, count)


def month_of(start_us: Ints) -> Ints:
    """Months since 1970 of each time; by way of days, of which there are few."""
    days = start_us // DAY_US
    first = int(days.min())
    known = np.arange(first, int(days.max()) + 1).astype("datetime64[D]").astype("datetime64[M]")
    return np.asarray(known.astype(np.int64)[days - first])


def _month_span(month: int) -> tuple[int, int]:
    edges = np.array([month, month + 1]).astype("datetime64[M]").astype("datetime64[us]")
    first, after = edges.astype(np.int64)
    return int(first), int(after)


def _day_span(day: int) -> tuple[int, int]:
    return day * DAY_US, (day + 1) * DAY_US


def arcing_hours(entry: Entry, nominal_hz: float) -> tuple[float, ...]:
    """Hours of arcing by level: a half-cycle lasts 1 / (2 f)."""
    return tuple(count / (2.0 * nominal_hz * 3600.0) for count in entry.by_level)


def arcing_share_of_wet(entry: Entry, wet_h: int, nominal_hz: float) -> float | None:
    """Hours of arcing for each wet hour; None without wet hours or counts."""
    arcing = entry.sums["arcing_halfcycles"]
    if wet_h <= 0 or arcing is None:
        return None
    return arcing / (2.0 * nominal_hz * 3600.0) / wet_h


def environment_of(grid: SiteHours) -> Environment:
    """What the weather did to every surface of the site over the grid."""
    uv = grid.uv_w_m2[np.isfinite(grid.uv_w_m2)]
    return Environment(
        wetness_h=int(np.sum(is_time_of_wetness(grid.rh_pct, grid.air_c))),
        wet_h=int(np.sum(wet_hours(grid.rh_pct, grid.rain_mm))),
        uv_j_m2=float(np.sum(uv) * 3600.0) if uv.size else None,
        unknown_h=int(np.sum(~np.isfinite(grid.rh_pct))),
    )
