"""Margin, heavy arcing and what people saw, beside the change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from edge.decide.binding import Basis
from gateway.trends.assessment import Decision
from gateway.trends.change import SiteTrend, compare_periods
from gateway.trends.columns import IntervalColumns, RegisterEntry, Seen, SiteColumns, SurfaceType
from gateway.trends.margin import flashover_limits_a, monthly_maxima_ma
from gateway.trends.ranking import urgency
from tests.gateway.trends.years import Made, Year, made


@pytest.fixture(scope="module")
def year() -> Made:
    return made(Year(seed=41, insulators=3, gap_share=0.0))


def trend(year: Made, rows: IntervalColumns | None = None, **more: object) -> SiteTrend:
    """The steady year, P1's rows replaced."""
    insulators = dict(year.site.insulators) | ({} if rows is None else {"P1": rows})
    register = dict(year.register) | more.pop("register", {})  # type: ignore[operator]
    site = SiteColumns(year.site.site, insulators)
    return compare_periods(site, year.weather, register, year.reference, year.now, **more)  # type: ignore[arg-type]


def first(found: SiteTrend) -> tuple[Decision, tuple[str, ...]]:
    return found.insulators[0].advice.decision, found.insulators[0].reasons


def with_peak(year: Made, peak_ua: float) -> IntervalColumns:
    rows = year.site.insulators["P1"]
    assert rows.peak_ua is not None
    peaks = rows.peak_ua.copy()
    peaks[-100] = peak_ua
    return replace(rows, peak_ua=peaks)


def test_one_peak_near_flashover_asks_for_an_inspection_of_a_steady_surface(year: Made) -> None:
    assert first(trend(year))[0] is Decision.NONE_INDICATED
    decision, reasons = first(trend(year, with_peak(year, 150_000.0)))
    assert decision is Decision.INSPECT
    assert reasons[0] == "highest peak 150 mA, near from 100 mA (creepage not in the register)"


def test_the_creepage_on_either_basis_gives_the_same_two_limits_and_the_lower_decides(
    year: Made,
) -> None:
    between = flashover_limits_a(20.0, Basis.PHASE_PHASE)
    to_earth = flashover_limits_a(20.0 * np.sqrt(3.0), Basis.PHASE_EARTH)
    assert between == pytest.approx(to_earth) and between[1] == pytest.approx(3 * between[0])
    entry = RegisterEntry(SurfaceType.COMPOSITE, "24 kV", 20.0, Basis.PHASE_PHASE)
    found = trend(year, with_peak(year, 150_000.0), register={"P1": entry})
    assert found.insulators[0].standing.near_ma == pytest.approx(170.43, abs=0.01)
    assert first(found)[0] is Decision.NONE_INDICATED


def test_arcing_through_the_wet_hours_asks_for_an_inspection(year: Made) -> None:
    rows = year.site.insulators["P1"]
    assert rows.halfcycles is not None and rows.rms_na is not None
    arcing = np.where(rows.rms_na > 0.5e6, rows.halfcycles // 3, 0)
    decision, reasons = first(trend(year, replace(rows, arcing_halfcycles=arcing)))
    assert decision is Decision.INSPECT and reasons[0].startswith("arcing for ")
    hours = trend(year, replace(rows, arcing_halfcycles=arcing)).insulators[0].standing.arcing_h
    later = rows.start_us >= year.now.from_us
    assert hours == pytest.approx(arcing[later].sum() / 100.0 / 3600.0, rel=1e-9)


def test_a_wettable_surface_that_was_seen_is_looked_at_again(year: Made) -> None:
    seen = {"P1": Seen(wettable=True, text="hydrophobicity class 7 found on 2025-08-02")}
    assert first(trend(year, seen=seen)) == (
        Decision.INSPECT,
        ("hydrophobicity class 7 found on 2025-08-02", first(trend(year))[1][0]),
    )


def test_damage_that_was_seen_is_the_first_reason(year: Made) -> None:
    seen = {"P2": Seen(damage=True, text="erosion severe found on 2025-08-02")}
    found = trend(year, seen=seen)
    ordered = sorted(found.insulators, key=urgency)
    assert ordered[0].insulator == "P2" and ordered[0].advice.decision is Decision.REPLACE
    assert ordered[0].reasons[0] == "erosion severe found on 2025-08-02"
    assert trend(year, damaged=frozenset({"P2"})).insulators[1].advice.name == "damage-seen"


def test_monthly_maxima_are_those_of_the_rows_and_a_month_in_part_has_none(year: Made) -> None:
    found = trend(year).insulators[0].standing
    maxima, months = monthly_maxima_ma(year.site.insulators["P1"])
    assert found.maxima_ma == pytest.approx(maxima.tolist())
    assert list(found.months) == months.astype(int).tolist()
    cut = replace(year.site.insulators["P1"])
    part = IntervalColumns(
        **{
            name: None if column is None else column[: -25 * 24]
            for name in cut.__slots__
            for column in [getattr(cut, name)]
        }
    )
    fewer = trend(year, part).insulators[0].standing
    assert fewer.months == found.months[:-1]


def test_both_fits_of_the_next_year_have_intervals_that_contain_their_level(year: Made) -> None:
    standing = trend(year).insulators[0].standing
    for fit in (standing.next_year, standing.next_year_peaks):
        assert fit is not None and fit.low < fit.level < fit.high
    assert standing.next_year is not None and standing.next_year.fitted == 12
