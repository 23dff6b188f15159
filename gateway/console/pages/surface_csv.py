"""Every plot's table as CSV: UTC, units in the header, gaps empty, spreadsheet-safe."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Annotated, Literal

import numpy as np
from fastapi import APIRouter, HTTPException, Query, Response

from edge.quantities import BY_NAME, column_text
from edge.records import IntervalRow
from gateway.console.api import reading
from gateway.console.assessing import Assessments
from gateway.console.pages.look import Look
from gateway.console.pages.surface_parts import exposure_lines, wave_of_capture
from gateway.console.surface_plots import cloud_of
from gateway.trends.columns import DAY_US, HOUR_US

ROWS_MAX = 300_000
"""A longer table is refused; `seafret export` has no such limit."""

TREND_COLUMNS = (
    "state", "peak_ua", "arcing_peak_ua", "rms_na", "halfcycles", "arcing_halfcycles",
    "doubtful_halfcycles", "in_phase_na", "quadrature_na", "h3_ppm", "thd_ppm", "voltage_mv",
    "frequency_millihz",
)  # fmt: skip

BACK_US = {
    "2h": 2 * HOUR_US, "12h": 12 * HOUR_US, "2d": 2 * DAY_US, "14d": 14 * DAY_US,
    "90d": 90 * DAY_US, "2y": 731 * DAY_US,
}  # fmt: skip

_BEGIN = datetime(1970, 1, 1, tzinfo=UTC)


def utc(at_us: int) -> str:
    """RFC 3339 with microseconds."""
    return (_BEGIN + timedelta(microseconds=at_us)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def plain(cell: object) -> object:
    """A text that a spreadsheet would take for a formula gets a quote before it."""
    risky = isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r")
    return f"'{cell}" if risky else cell


def csv_answer(name: str, header: Sequence[str], rows: Iterable[Sequence[object]]) -> Response:
    """A file to keep."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([plain(cell) for cell in row] for row in rows)
    safe = "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "-" for c in name)
    return Response(
        stream.getvalue(),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{safe}"'},
    )


def add_tables(routes: APIRouter, look: Look, assessments: Assessments) -> None:
    """The routes of the tables."""
    _add_trend(routes, look)
    _add_exposure(routes, look)
    _add_response(routes, look, assessments)
    _add_waveform(routes, look)


def _add_trend(routes: APIRouter, look: Look) -> None:
    @routes.get("/sites/{site}/insulators/{insulator}/trend.csv")
    def trend(
        site: str,
        insulator: str,
        back: Annotated[
            Literal["2h", "12h", "2d", "14d", "90d", "2y"], Query(alias="range")
        ] = "12h",
    ) -> Response:
        look.known_site(site)
        end_us = look.sources.now_us()
        start_us = max(0, end_us - BACK_US[back])
        rows: list[IntervalRow] = []
        with reading(look.sources.history, site) as reader:
            while page := reader.intervals(insulator, start_us, end_us):
                rows += page
                start_us = page[-1].start_us + 1
                if len(rows) > ROWS_MAX:
                    raise HTTPException(413, "more rows than one file holds; use seafret export")
        columns = [BY_NAME[name].column if name in BY_NAME else name for name in TREND_COLUMNS]
        header = ("insulator", "start", "seconds", *columns, "flags")
        return csv_answer(f"{site}-{insulator}-trend.csv", header, map(_trend_row, rows))


def _trend_row(row: IntervalRow) -> list[object]:
    cells: list[object] = [row.insulator, utc(row.start_us), f"{row.duration_us / 1e6:.6f}"]
    for name in TREND_COLUMNS:
        found = getattr(row, name)
        cells.append(column_text(BY_NAME[name], found) if name in BY_NAME else found)
    return [*cells, "|".join(row.flags)]


def _add_exposure(routes: APIRouter, look: Look) -> None:
    @routes.get("/sites/{site}/insulators/{insulator}/exposure.csv")
    def exposure(site: str, insulator: str) -> Response:
        look.known_site(site)
        with reading(look.sources.history, site) as reader:
            lines = exposure_lines(reader, insulator, look.sources.now_us())
        names = ("charge_nc", "arcing_charge_nc", "arcing_i2t_pa2s", "arcing_energy_uj")
        header = ("insulator", "time", "rows", "covered_s", "arcing_halfcycles", "arcing_s")
        rows = [
            (
                insulator, one.title, one.rows, one.covered_us / 1e6, one.arcing_halfcycles,
                one.arcing_us / 1e6, *(_sum(name, getattr(one, name)) for name in names),
            )
            for one in lines
        ]  # fmt: skip
        columns = ("charge_c", "arcing_charge_c", "arcing_i2t_a2s", "arcing_energy_j")
        return csv_answer(f"{site}-{insulator}-exposure.csv", (*header, *columns), rows)


def _sum(name: str, units: int) -> str:
    return column_text(BY_NAME[name], units)


def _add_response(routes: APIRouter, look: Look, assessments: Assessments) -> None:
    @routes.get("/sites/{site}/insulators/{insulator}/response.csv")
    def response(site: str, insulator: str) -> Response:
        look.known_site(site)
        found = assessments.of(site)
        if found is None or found.site is None or insulator not in found.site.currents:
            raise HTTPException(404, "the response is not worked out (yet); see the page")
        cloud = cloud_of(found.site, insulator)
        rows: list[tuple[object, ...]] = []
        for period, rh, ma in (
            ("reference", cloud.rh_before, cloud.ma_before),
            ("now", cloud.rh_now, cloud.ma_now),
        ):
            pairs = zip(np.round(rh, 2).tolist(), np.round(ma, 6).tolist(), strict=True)
            rows += [(insulator, period, *pair) for pair in pairs]
        header = ("insulator", "period", "rh_pct", "rms_ma")
        return csv_answer(f"{site}-{insulator}-response.csv", header, rows)


def _add_waveform(routes: APIRouter, look: Look) -> None:
    @routes.get("/sites/{site}/insulators/{insulator}/waveform.csv")
    def waveform(
        site: str,
        insulator: str,
        capture: Annotated[str, Query(pattern=r"^[0-9a-f]{64}$")],
        cycles: Annotated[Literal["3", "6", "10"], Query()] = "6",
    ) -> Response:
        look.known_site(site)
        with reading(look.sources.history, site) as reader:
            captures = [one.record for one in reader.captures(0, look.sources.now_us() + DAY_US)]
        own = [one for one in captures if (one.content_sha, one.insulator) == (capture, insulator)]
        if not own:
            raise HTTPException(404, "no such capture of this insulator")
        wave, why = wave_of_capture(look.sources, site, own[0], int(cycles))
        if wave is None:
            raise HTTPException(404, why)
        ms = wave.from_ms + wave.step_ms * np.arange(len(wave.current_ma))
        volts = (
            ["" for _ in ms] if wave.voltage_kv is None else np.round(wave.voltage_kv, 4).tolist()
        )
        rows = zip(
            np.round(ms, 4).tolist(), np.round(wave.current_ma, 5).tolist(), volts, strict=True
        )
        header = ("ms_from_trigger", "current_ma", "voltage_kv")
        return csv_answer(f"{site}-{insulator}-waveform.csv", header, rows)
