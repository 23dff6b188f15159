"""The ledger adds up exactly, by whatever line, and says what it left out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from gateway.trends.columns import HOUR_US, IntervalColumns
from gateway.trends.exposure import (
    ADDED,
    arcing_hours,
    arcing_share_of_wet,
    environment_of,
    ledger_of,
)
from gateway.trends.hours import SiteHours, site_hours
from tests.gateway.trends.years import START_US, Year, made


@pytest.fixture(scope="module")
def year() -> tuple[IntervalColumns, SiteHours]:
    drawn = made(Year(seed=6, insulators=1))
    rows = drawn.site.insulators["P1"]
    huge = np.random.default_rng(1).integers(0, 1 << 49, rows.start_us.shape[0])
    rows = replace(rows, i2t_pa2s=huge)
    return rows, site_hours(drawn.weather, drawn.reference.from_us, drawn.now.to_us)


def test_days_months_and_episodes_add_up_to_life_exactly(
    year: tuple[IntervalColumns, SiteHours],
) -> None:
    rows, grid = year
    found = ledger_of(rows, grid)
    assert found.life is not None and found.dry_between is not None
    assert len(found.months) == 12
    for name in ADDED:
        column = getattr(rows, name)
        if column is None:
            assert found.life.sums[name] is None
            continue
        exact = sum(int(one) for one in column)  # beyond 2**53: floats would lose some
        for lines in (found.days, found.months, (*found.episodes, found.dry_between)):
            assert sum(line.sums[name] or 0 for line in lines) == exact
        assert found.life.sums[name] == exact
    assert (found.life.sums["i2t_pa2s"] or 0) > 1 << 53
    assert sum(found.life.by_level) == found.life.sums["arcing_halfcycles"]


def test_arcing_is_kept_by_the_level_of_its_row() -> None:
    rows = IntervalColumns(
        START_US + np.arange(4) * HOUR_US,
        np.full(4, HOUR_US),
        peak_ua=np.array([4_000.0, 5_000.0, 30_000.0, 250_000.0]),
        arcing_halfcycles=np.array([1, 10, 100, 1_000]),
    )
    found = ledger_of(rows, None)
    assert found.life is not None
    assert found.life.by_level == (11, 0, 100, 0, 0, 1_000)
    assert arcing_hours(found.life, 50.0)[5] == pytest.approx(1_000 / 360_000)
    assert arcing_share_of_wet(found.life, 2, 50.0) == pytest.approx(1_111 / 360_000 / 2)
    assert arcing_share_of_wet(found.life, 0, 50.0) is None
    assert found.episodes == ()


def test_rows_told_twice_count_once_and_are_said(year: tuple[IntervalColumns, SiteHours]) -> None:
    rows, grid = year
    twice = IntervalColumns(
        np.concatenate((rows.start_us, rows.start_us + 60_000_000)),
        np.tile(rows.duration_us, 2),
        arcing_halfcycles=np.tile(rows.arcing_halfcycles, 2),  # type: ignore[arg-type]
    )
    once, doubled = ledger_of(rows, grid).life, ledger_of(twice, grid)
    assert once is not None and doubled.life is not None
    kept = doubled.life.sums["duration_us"] or 0
    assert kept <= (once.sums["duration_us"] or 0) * 1.05
    assert "overlapping-rows" in doubled.found.said


def test_no_rows_give_an_empty_ledger() -> None:
    nothing = np.zeros(0, np.int64)
    found = ledger_of(IntervalColumns(nothing, nothing), None)
    assert (found.days, found.life) == ((), None)


def test_the_environment_says_how_many_hours_it_does_not_know(
    year: tuple[IntervalColumns, SiteHours],
) -> None:
    _, grid = year
    half = np.where(np.arange(grid.count) < 100, np.nan, grid.rh_pct)
    found = environment_of(replace(grid, rh_pct=half, uv_w_m2=np.full(grid.count, 10.0)))
    assert found.unknown_h == 100
    assert found.uv_j_m2 == pytest.approx(grid.count * 36_000.0)
    assert 0 < found.wetness_h < found.wet_h
