"""Everything that a report tells, gathered from a site's history and not yet put into words."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np

from edge.wire import Refused
from gateway.alarms.journal import Entry as JournalEntry
from gateway.alarms.journal import read_entry
from gateway.history.loaded import Columns
from gateway.history.store import PAGE_MAX, JournalLine
from gateway.reading.decisions import SiteBook, StoryLine, latest_decisions, story_of
from gateway.reading.notes import dead_spans, maintenance_rows, seen_on
from gateway.reading.register import Register, read_register
from gateway.reading.site import extent_us, insulators_of, weather_columns
from gateway.report.deposits import DepositPair, deposit_pairs
from gateway.report.month import judged_periods, month_before, month_of
from gateway.report.observing import Cover, Observed
from gateway.report.units import (
    UnitFacts,
    UnitReader,
    WaveformFound,
    calibrations,
    unit_facts,
    worst_waveforms,
)
from gateway.trends.change import InsulatorTrend, SiteTrend, compare_periods, compare_with_site
from gateway.trends.columns import (
    DAY_US,
    HOUR_US,
    IntervalColumns,
    MaintenanceRow,
    Period,
    Seen,
    SiteColumns,
    WeatherColumns,
)
from gateway.trends.decided import Decided
from gateway.trends.evidence import Site
from gateway.trends.exposure import Ledger

JOURNAL_BACK_US = 40 * DAY_US
"""Alarms that stood when the month began are looked for so far back."""


class Book(SiteBook, UnitReader, Protocol):
    """What a report reads of a site."""

    def journal(
        self, after: int = 0, start_us: int = 0, limit: int = PAGE_MAX
    ) -> list[JournalLine]: ...


@dataclass(frozen=True, slots=True)
class LimitChange:
    """One line of the book of limits: what became of which version of a unit's, by whom, why."""

    at_us: int
    unit: str
    what: str
    version: int
    who: str
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class Facts:
    """trend, site: of the periods judged; before: the advice as it was at the end of the month
    before, where that could be compared. ledgers, covers, hashes: by insulator."""

    month: Period
    trend: SiteTrend
    before: Mapping[str, InsulatorTrend]
    site: Site
    register: Register
    register_sha: str
    ledgers: Mapping[str, Ledger]
    covers: Mapping[str, Cover]
    hashes: Mapping[str, str]
    decided: Mapping[str, Decided]
    stories: Mapping[str, list[StoryLine]]
    seen: Mapping[str, Seen]
    journal: tuple[JournalEntry, ...]
    units: UnitFacts
    calibrations: Mapping[str, str]
    waveforms: Mapping[str, WaveformFound]
    deposits: tuple[DepositPair, ...]
    limit_changes: tuple[LimitChange, ...] = ()


def gathered(rows: Book, site: str, month_text: str, register: Path | None) -> Facts:
    """The facts of a month. Raises Refused, SettingsError, JournalFault, OSError."""
    month = month_of(month_text)
    extent = extent_us(rows, Columns.INTERVAL)
    if extent is None:
        raise Refused("no-rows", f"site {site!r} has no interval rows; load some")
    reference, now = judged_periods(extent, month)
    span = Period(reference.from_us, now.to_us)
    known = Register() if register is None else read_register(register)
    names = tuple(insulators_of(rows))
    observed = Observed(rows, names, span, month, dead_spans(rows))
    done, seen = maintenance_rows(rows), seen_on(rows, maintenance_rows(rows))
    done = tuple(one for one in done if one.start_us < month.to_us)
    columns = SiteColumns(site, observed, known.coast_bearing_deg)
    weather = weather_columns(rows, span)
    work = (known.entries(), reference, now, done)
    trend, grid = compare_with_site(columns, weather, *work, seen=seen)
    stories = {name: story_of(rows, name) for name in names}
    return Facts(
        month=month,
        trend=trend,
        before=_before(site, grid, known, extent, month, done, seen),
        site=grid,
        register=known,
        register_sha=_sha(register),
        ledgers=observed.ledgers,
        covers=observed.covers,
        hashes=observed.hashes,
        decided=latest_decisions(rows),
        stories=stories,
        seen=seen,
        journal=_journal(rows, month),
        units=unit_facts(rows, month),
        calibrations=calibrations(rows),
        waveforms=worst_waveforms(rows, month),
        deposits=deposit_pairs(rows, trend),
    )


def _before(
    name: str,
    site: Site,
    register: Register,
    extent: tuple[int, int],
    month: Period,
    done: Sequence[MaintenanceRow],
    seen: Mapping[str, Seen],
) -> dict[str, InsulatorTrend]:
    """The advice of the last report, from the hours of the grid; none for the first month."""
    earlier = month_before(month)
    try:
        reference, now = judged_periods((extent[0], min(extent[1], earlier.to_us)), earlier)
    except Refused:
        return {}
    hourly = {one: _hourly(site, one) for one in site.currents}
    columns = SiteColumns(name, hourly)
    found = compare_periods(
        columns, _weather(site), register.entries(), reference, now, done, seen=seen
    )
    return {one.insulator: one for one in found.insulators}


def _hourly(site: Site, name: str) -> IntervalColumns:
    """The grid's hours as rows again."""
    current = site.currents[name]
    kept = np.flatnonzero(np.isfinite(current.total_ma))
    return IntervalColumns(
        start_us=(kept + site.grid.first_hour) * HOUR_US,
        duration_us=np.full(kept.shape[0], HOUR_US),
        rms_na=current.total_ma[kept] * 1e6,
        peak_ua=current.peak_ma[kept] * 1e3,
        in_phase_na=current.current_ma[kept] * 1e6 if current.in_phase else None,
        halfcycles=current.halfcycles[kept].astype(np.int64),
        arcing_halfcycles=current.arcing[kept].astype(np.int64),
    )


def _weather(site: Site) -> WeatherColumns:
    grid = site.grid
    return WeatherColumns(
        start_us=(np.arange(grid.count) + grid.first_hour) * HOUR_US,
        duration_us=np.full(grid.count, HOUR_US),
        rh_pct=grid.rh_pct,
        air_c=grid.air_c,
        rain_mm=grid.rain_mm,
    )


def _journal(rows: Book, month: Period) -> tuple[JournalEntry, ...]:
    found: list[JournalEntry] = []
    after = 0
    while page := rows.journal(after, max(month.from_us - JOURNAL_BACK_US, 0)):
        found += [read_entry(line.body) for line in page]
        after = page[-1].number
    return tuple(one for one in found if one.at_us < month.to_us)


def _sha(path: Path | None) -> str:
    return "" if path is None else hashlib.sha256(path.read_bytes()).hexdigest()
