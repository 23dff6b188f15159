"""Parts of an insulator's page that come from the history: trend, exposure, waveform."""

from __future__ import annotations

import json
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from edge.quantities import STATES
from edge.recording import RecordingError
from edge.records import Capture
from gateway.console.binning import Bins, binned
from gateway.console.drawing import number
from gateway.console.limit_lines import LimitLines
from gateway.console.plots import LEFT, RIGHT, TREND_WIDTH, gap_count, trend_plot
from gateway.console.reading_rows import columns_of, humidity_of, reader_of, rows_of
from gateway.console.sources import Sources
from gateway.console.surface_plots import days_plot
from gateway.console.waveforms import Wave, wave_of
from gateway.console.words import Times
from gateway.history.store import HistoryFault, SiteReader
from gateway.trends.columns import DAY_US, HOUR_US, Floats, IntervalColumns, Period

TREND_COLUMNS = 300
TABLE_ROWS = 60
"""A trend's table has so many rows, each the worst of its columns; the CSV has every row."""

DAYS_SHOWN = 31


@dataclass(frozen=True, slots=True)
class TableRow:
    """A line of a trend's table; "" for what is not known. lacking: no good data at all."""

    at_us: int
    peak_ma: str
    rms_ma: str
    arcs: str
    rh_pct: str
    state: str
    lacking: bool


@dataclass(frozen=True, slots=True)
class Trend:
    """svg: the plot. cursor: what its script tells of each column. days: exposure by day."""

    svg: Markup
    cursor: str
    left: int
    right: int
    period: Period
    rows: tuple[TableRow, ...]
    gaps: int
    doubted: int
    days: Markup


def trend_of(
    sources: Sources,
    site: str,
    insulator: str,
    back_us: int,
    times: Times,
    limits: LimitLines,
) -> Trend:
    """The trend up to now. Raises HistoryFault."""
    period = Period(max(0, times.now_us - back_us), times.now_us)
    with rows_of(sources, site) as rows:
        assert rows is not None, "the caller has seen the site's history"
        bins = binned(columns_of(rows, insulator, period), period, TREND_COLUMNS)
        humid = humidity_of(rows, period, TREND_COLUMNS)
        days = columns_of(rows, insulator, _whole_days(times))
    return Trend(
        Markup(trend_plot(bins, humid, limits.margin_ma, limits.arcs_per_min, period, times)),
        _cursor(bins, humid),
        LEFT,
        TREND_WIDTH - RIGHT,
        period,
        tuple(_table(bins, humid)),
        gap_count(bins.known),
        int(np.sum(bins.doubted)),
        _days(days, times),
    )


def _cursor(bins: Bins, humid: Floats) -> str:
    """Start of each column [s], and what its reader is told of it."""
    return json.dumps(
        {
            "from_s": int(bins.start_us[0] // 1_000_000),
            "width_s": bins.width_us / 1e6,
            "peak": [number(one) for one in bins.high.tolist()],
            "rms": [number(one) for one in bins.rms.tolist()],
            "arcs": [number(round(one)) if one == one else "" for one in bins.arcs.tolist()],
            "rh": [number(round(one)) if one == one else "" for one in humid.tolist()],
            "state": bins.state.tolist(),
            "states": [one.value for one in STATES],
        },
        separators=(",", ":"),
    )


def _table(bins: Bins, humid: Floats) -> list[TableRow]:
    step = -(-len(bins.start_us) // TABLE_ROWS)
    found = []
    for first in range(0, len(bins.start_us), step):
        piece = slice(first, first + step)
        states = bins.state[piece]
        found.append(
            TableRow(
                int(bins.start_us[first]),
                _most(bins.high[piece]),
                _most(bins.rms[piece]),
                _most(np.round(bins.arcs[piece])),
                _most(np.round(humid[piece])),
                _worst(states),
                not bins.known[piece].any(),
            )
        )
    return found[::-1]


def _most(found: Floats) -> str:
    known = found[np.isfinite(found)]
    return number(float(known.max())) if known.size else ""


def _worst(states: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> str:
    order = ("arcing-dense", "arcing-sparse", "wet", "dry", "de-energised", "unknown")
    there = {STATES[one].value for one in states.tolist() if one >= 0}
    return next((one for one in order if one in there), "")


def _whole_days(times: Times) -> Period:
    offset_us = times.offset_us(times.now_us)
    end_us = ((times.now_us + offset_us) // DAY_US + 1) * DAY_US - offset_us
    return Period(max(0, end_us - DAYS_SHOWN * DAY_US), end_us)


def _days(rows: IntervalColumns, times: Times) -> Markup:
    """Arcing half-cycles of each local day; a day without rows has no bar."""
    period = _whole_days(times)
    count = max(1, (period.to_us - period.from_us) // DAY_US)
    counts = np.full(count, np.nan)
    if rows.arcing_halfcycles is not None and rows.start_us.size:
        day = (rows.start_us - period.from_us) // DAY_US
        inside = (day >= 0) & (day < count)
        summed = np.bincount(day[inside], rows.arcing_halfcycles[inside], minlength=count)
        seen = np.bincount(day[inside], minlength=count) > 0
        counts[seen] = summed[seen]
    words = [
        f"{local.day} {local:%b}"
        for local in (
            times.local(period.from_us + k * DAY_US + 43_200_000_000) for k in range(count)
        )
    ]
    return Markup(days_plot(counts, words))


@dataclass(frozen=True, slots=True)
class ExposureLine:
    """Sums over a time, as words ready to read."""

    title: str
    rows: int
    covered_us: int
    arcing_halfcycles: int
    arcing_us: int
    arcing_charge_nc: int
    charge_nc: int
    arcing_i2t_pa2s: int
    arcing_energy_uj: int


EXPOSED: tuple[tuple[str, int | None], ...] = (
    ("24 hours", DAY_US),
    ("7 days", 7 * DAY_US),
    ("30 days", 30 * DAY_US),
    ("all kept", None),
)


def exposure_lines(reader: SiteReader, insulator: str, now_us: int) -> list[ExposureLine]:
    """What the surface has borne; exact sums of the history. Raises HistoryFault."""
    found = []
    for title, back_us in EXPOSED:
        start_us = 0 if back_us is None else max(0, now_us - back_us)
        sums = reader.exposure(insulator, start_us, now_us + HOUR_US)
        found.append(
            ExposureLine(
                title,
                sums["rows"],
                sums["duration_us"],
                sums["arcing_halfcycles"],
                sums["arcing_sparse_us"] + sums["arcing_dense_us"],
                sums["arcing_charge_positive_nc"] + sums["arcing_charge_negative_nc"],
                sums["charge_positive_nc"] + sums["charge_negative_nc"],
                sums["arcing_i2t_positive_pa2s"] + sums["arcing_i2t_negative_pa2s"],
                sums["arcing_energy_positive_uj"] + sums["arcing_energy_negative_uj"],
            )
        )
    return found


def wave_of_capture(
    sources: Sources, site: str, capture: Capture, cycles: int
) -> tuple[Wave | None, str]:
    """(the waveform, why there is none)."""
    try:
        with reader_of(sources, site) as reader:
            content = reader.capture_bytes(capture.content_sha)
        if content is None:
            return None, "its parts have not all arrived yet"
        return wave_of(content, capture, cycles), ""
    except (HistoryFault, RecordingError) as fault:
        return None, str(fault)
