"""The change verdict on drawn years: its short form, and what must never be said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from gateway.trends import (
    IntervalColumns,
    SiteColumns,
    WeatherColumns,
    compare_periods,
)
from gateway.trends.assessment import Decision
from gateway.trends.causes import Cause
from gateway.trends.change import InsulatorTrend
from gateway.trends.columns import DAY_US
from gateway.trends.document import trend_document
from tests.gateway.trends.trials import KINDS, Outcome, judged, outcome
from tests.gateway.trends.years import HOURS, Made, Year, made

KEYS = [
    *("insulator", "index_ratio", "index_ratio_low", "index_ratio_high"),
    *("onset_rh_reference", "onset_rh_now", "wet_hours_reference", "wet_hours_now"),
    *("changed", "cause", "decision", "reasons", "wash"),
]


def first(drawn: Made) -> InsulatorTrend:
    return judged(drawn).insulators[0]


def of_one(drawn: Made, rows: IntervalColumns) -> Made:
    return replace(drawn, site=SiteColumns(drawn.site.site, {"P1": rows}))


@pytest.fixture(scope="module")
def one() -> Made:
    return made(Year(seed=4, insulators=1))


@pytest.mark.parametrize("kind", ["steady", "steady-carry", "season", "probe"])
def test_steady_years_are_not_flagged(kind: str) -> None:
    found = outcome(KINDS[kind], range(3))
    assert found.flagged == 0


@pytest.mark.parametrize("kind", ["deposit", "single", "lasting"])
def test_changes_are_found_with_their_cause(kind: str) -> None:
    found = outcome(KINDS[kind], range(2))
    assert found.flagged == found.right_cause == found.surfaces


@pytest.mark.parametrize("kind", ["fade", "dies", "bypass"])
def test_a_doubted_sensor_is_never_better_and_nothing_is_decided(kind: str) -> None:
    found = outcome(KINDS[kind], range(2))
    assert found.flagged == found.called_better == 0
    assert found.decisions == {Decision.CANNOT_DECIDE.value: found.surfaces}


def test_a_wash_that_cut_the_current_is_seen_to_have_helped() -> None:
    found = outcome(KINDS["wash"], range(2))
    assert found.washes == 2
    assert found.causes == {Cause.SINGLE_UNIT.value: 2}


def test_a_change_is_dated_within_a_month() -> None:
    found = first(made(Year(seed=11, insulators=2, factor={0: 2.5})))
    drawn = made(Year(seed=11, insulators=2))
    assert found.changed_us is not None
    assert abs(found.changed_us - drawn.now.from_us) < 30 * DAY_US


def test_an_outage_in_a_fifth_of_the_period_cannot_be_decided() -> None:
    for trend in judged(made(Year(seed=2, insulators=2, outage_hours=HOURS // 10))).insulators:
        assert trend.changed is not True
        assert trend.advice.decision is Decision.CANNOT_DECIDE


def test_a_year_with_two_wet_nights_says_nothing(one: Made) -> None:
    rh = np.minimum(one.weather.rh_pct, 50.0)
    rh[100:110] = rh[6_000:6_010] = 95.0
    found = first(replace(one, weather=replace(one.weather, rh_pct=rh, rain_mm=None)))
    assert found.index_ratio is None
    assert (found.changed, found.advice.decision) == (None, Decision.CANNOT_DECIDE)


def test_currents_of_zero_say_nothing(one: Made) -> None:
    rows = one.site.insulators["P1"]
    assert rows.rms_na is not None
    found = first(of_one(one, replace(rows, rms_na=np.zeros_like(rows.rms_na))))
    assert (found.index_ratio, found.changed) == (None, None)
    assert found.advice.decision is Decision.CANNOT_DECIDE


def test_no_weather_or_a_wrong_unit_says_nothing_and_why(one: Made) -> None:
    fraction = replace(one.weather, rh_pct=one.weather.rh_pct / 100.0, rain_mm=None)
    found = judged(replace(one, weather=fraction))
    assert found.found == ("humidity-not-in-per-cent",)
    assert found.insulators[0].changed is None
    blind = compare_periods(one.site, None, one.register, one.reference, one.now)
    assert blind.found == ("no-weather",)
    assert blind.insulators[0].advice.decision is Decision.CANNOT_DECIDE


def test_one_insulator_alone_that_moved_has_no_cause() -> None:
    found = first(made(Year(seed=3, insulators=1, factor={0: 3.0})))
    assert (found.changed, found.cause) == (True, Cause.CANNOT_TELL)


def test_no_insulators_and_no_rows_are_answered(one: Made) -> None:
    assert judged(replace(one, site=SiteColumns("empty", {}))).insulators == ()
    nothing = np.zeros(0, np.int64)
    found = first(of_one(one, IntervalColumns(nothing, nothing)))
    assert found.changed is None


def test_periods_that_are_the_same_cannot_be_compared(one: Made) -> None:
    assert first(replace(one, now=one.reference)).index_ratio is None


def test_weather_that_covers_a_week_only_is_not_enough(one: Made) -> None:
    weather = one.weather
    week = WeatherColumns(weather.start_us[:168], weather.duration_us[:168], weather.rh_pct[:168])
    assert first(replace(one, weather=week)).changed is None


def test_the_document_has_the_keys_of_the_contract() -> None:
    drawn = made(Year(seed=5, insulators=2, minutes=10))
    found = trend_document(judged(drawn))
    assert found["interval_level"] == 0.90
    assert found["reference"] == {"from": "2025-01-01T00:00:00Z", "to": "2025-07-02T12:00:00Z"}
    for insulator in found["insulators"]:
        assert list(insulator)[: len(KEYS)] == KEYS
        assert insulator["index_ratio_low"] < insulator["index_ratio"]


def test_ten_minute_rows_say_the_same_as_hours() -> None:
    pair = [first(made(Year(seed=5, insulators=1, minutes=minutes))) for minutes in (10, 60)]
    ratios = [one.index_ratio for one in pair]
    assert ratios[0] == pytest.approx(ratios[1], rel=0.15)


def test_the_order_of_rows_changes_nothing_but_the_flag(one: Made) -> None:
    rows = one.site.insulators["P1"]
    assert rows.rms_na is not None
    order = np.random.default_rng(0).permutation(rows.start_us.shape[0])
    mixed = IntervalColumns(rows.start_us[order], rows.duration_us[order], rows.rms_na[order])
    plain = IntervalColumns(rows.start_us, rows.duration_us, rows.rms_na)
    found, sorted_found = first(of_one(one, mixed)), first(of_one(one, plain))
    assert found.index_ratio == sorted_found.index_ratio
    assert found.found == ("rows-out-of-order",)


@pytest.mark.long
@pytest.mark.parametrize("kind", list(KINDS))
def test_trials_keep_what_was_promised(kind: str) -> None:
    """The long form: 100 years of each kind (see `python -m tests.gateway.trends.trials`)."""
    found: Outcome = outcome(KINDS[kind], range(100))
    if kind.startswith("steady") or kind in ("probe", "season"):
        assert found.years_flagged <= 8
    elif kind in ("fade", "dies", "bypass"):
        assert found.flagged == found.called_better == 0
    else:
        assert found.flagged >= 0.8 * found.surfaces
        assert kind.startswith("reversible") or found.right_cause >= 0.8 * found.surfaces
    if found.compared:
        assert 0.85 * found.compared <= found.covered <= 0.95 * found.compared


def test_reference_after_now_is_compared_the_other_way_round() -> None:
    drawn = made(Year(seed=9, insulators=1, factor={0: 2.0}))
    there = first(drawn)
    back = first(replace(drawn, reference=drawn.now, now=drawn.reference))
    assert there.index_ratio is not None and back.index_ratio is not None
    assert there.index_ratio * back.index_ratio == pytest.approx(1.0, rel=0.1)


def test_a_careless_test_of_rows_flags_most_steady_years_and_ours_none() -> None:
    """Hours taken for witnesses: a night of ten wet hours then counts tenfold."""
    careless = ours = 0
    for seed in range(20, 26):
        drawn = made(Year(seed=seed, insulators=1))
        rows = drawn.site.insulators["P1"]
        assert rows.rms_na is not None
        at = np.searchsorted(drawn.weather.start_us, rows.start_us)
        wet = drawn.weather.rh_pct[at] >= 85.0
        later = rows.start_us >= drawn.now.from_us
        halves = [np.log(rows.rms_na[wet & one]) for one in (~later, later)]
        careless += float(stats.ttest_ind(*halves, equal_var=False).pvalue) < 0.05
        ours += first(drawn).changed is True
    assert careless >= 4
    assert ours == 0
