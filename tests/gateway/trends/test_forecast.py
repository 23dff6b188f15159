"""What the next fog would do: the interval holds as often as stated, and says when it cannot."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from gateway.trends.columns import (
    DAY_US,
    HOUR_US,
    Action,
    MaintenanceRow,
    SiteColumns,
    WeatherColumns,
)
from gateway.trends.forecast import HUMIDITY_TAKEN, WETTER, NightForecast, forecast_night
from gateway.trends.nights import NIGHTS_MIN
from tests.gateway.trends.fog_trials import KINDS, Scored, scored_year
from tests.gateway.trends.years import START_US, Made, Year, made

EVENING_US = START_US + 300 * DAY_US + 17 * HOUR_US
LEAST, MOST = 0.85, 0.95
"""For a stated 0.90 over at least 300 nights."""


def fog(rh_pct: float, hours: int = 12, from_us: int = EVENING_US) -> WeatherColumns:
    start = from_us + np.arange(hours) * HOUR_US
    return WeatherColumns(start, np.full(hours, HOUR_US), np.full(hours, rh_pct))


@pytest.fixture(scope="module")
def year() -> Made:
    return made(Year(seed=21, insulators=2))


def said(year: Made, ahead: WeatherColumns, **more: object) -> NightForecast:
    return forecast_night(year.site, year.weather, ahead, EVENING_US, **more)["P1"]  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["steady", "deposit", "errs"])
def test_held_out_nights_fall_within_what_was_said_as_often_as_stated(kind: str) -> None:
    nights: list[Scored] = [one for seed in (31, 32) for one in scored_year(KINDS[kind], seed, 2)]
    assert len(nights) >= 300
    assert LEAST <= np.mean([one.held for one in nights]) <= MOST
    wet = [one.held for one in nights if (one.said.wettest_pct or 0) > 80.0]
    assert len(wet) >= 200 and LEAST - 0.02 <= np.mean(wet) <= MOST + 0.02


def test_a_humidity_that_errs_untold_breaks_the_promise_so_the_trial_can_fail() -> None:
    kind = replace(KINDS["untold"], errs_pct=8.0)
    nights = scored_year(kind, 31, 2)
    assert np.mean([one.held for one in nights]) < LEAST


def test_a_wetter_night_brings_more_current_and_more_arcing(year: Made) -> None:
    dry, damp, wet = (said(year, fog(rh)) for rh in (55.0, 82.0, 97.0))
    levels = [one.current_ma or 0.0 for one in (dry, damp, wet)]
    assert levels[0] < levels[1] < levels[2] and levels[2] > 5 * levels[0]
    assert (dry.arcing_chance or 0.0) < 0.05 < (wet.arcing_chance or 0.0)


def test_the_interval_widens_when_the_humidity_is_said_to_err(year: Made) -> None:
    sure, unsure = said(year, fog(85.0)), said(year, fog(85.0), humidity_sd_pct=5.0)
    assert HUMIDITY_TAKEN in sure.reservations and HUMIDITY_TAKEN not in unsure.reservations
    assert sure.current_high_ma and sure.current_low_ma
    assert unsure.current_high_ma and unsure.current_low_ma
    assert (
        unsure.current_high_ma / unsure.current_low_ma > sure.current_high_ma / sure.current_low_ma
    )


def test_nothing_that_happens_later_is_looked_at(year: Made) -> None:
    rows = year.site.insulators["P1"]
    assert rows.rms_na is not None
    later = rows.start_us >= EVENING_US
    changed = replace(rows, rms_na=np.where(later, 9e9, rows.rms_na))
    wetter = replace(
        year.weather,
        rh_pct=np.where(year.weather.start_us >= EVENING_US, 20.0, year.weather.rh_pct),
    )
    other = replace(year, site=SiteColumns("shingle-spit", {"P1": changed}), weather=wetter)
    assert said(other, fog(88.0)) == said(year, fog(88.0))


def test_a_night_wetter_than_all_that_are_known_is_said_to_be_beyond_experience() -> None:
    dry = made(Year(seed=22, insulators=1, file="12839.tm2"))
    capped = replace(dry, weather=replace(dry.weather, rh_pct=np.minimum(dry.weather.rh_pct, 85.0)))
    assert WETTER in said(capped, fog(98.0)).reservations
    assert WETTER not in said(capped, fog(80.0)).reservations


def test_a_dead_sensor_and_a_short_history_are_never_given_a_number(year: Made) -> None:
    rows = year.site.insulators["P1"]
    assert rows.rms_na is not None
    silent = rows.start_us >= EVENING_US - 2 * DAY_US
    dead = replace(rows, rms_na=np.where(silent, 0.0, rows.rms_na))
    one = said(replace(year, site=SiteColumns("shingle-spit", {"P1": dead})), fog(90.0))
    assert one.current_ma is None and "in doubt" in one.why
    early = START_US + 10 * DAY_US + 17 * HOUR_US
    few = forecast_night(year.site, year.weather, fog(90.0, from_us=early), early)["P1"]
    assert few.current_ma is None and f"{NIGHTS_MIN} are needed" in few.why


def test_work_of_the_last_weeks_is_a_reservation(year: Made) -> None:
    work = MaintenanceRow("", EVENING_US - 5 * DAY_US, Action.WASH)
    assert any(
        "wash 5 days ago" in one for one in said(year, fog(90.0), maintenance=[work]).reservations
    )
    old = MaintenanceRow("", EVENING_US - 90 * DAY_US, Action.WASH)
    assert not any("ago" in one for one in said(year, fog(90.0), maintenance=[old]).reservations)


def test_a_forecast_that_lies_behind_is_refused(year: Made) -> None:
    with pytest.raises(ValueError, match="no forecast row"):
        said(year, fog(90.0, from_us=EVENING_US - 2 * DAY_US))
