"""What dry air does: a lowered onset that stays or comes back, and the clock."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from gateway.trends.causes import Cause, Recovery
from gateway.trends.columns import Period
from gateway.trends.evidence import on_grid
from gateway.trends.recovery import recovery_clock, recovery_of
from gateway.trends.response import compare_hours
from tests.gateway.trends.trials import LASTING, judged
from tests.gateway.trends.years import HOURS, Made, Year, made

LOWERED = Year(seed=3, insulators=3, onset_drop=LASTING)


def test_an_onset_that_came_back_is_told_from_one_that_stayed() -> None:
    causes = [
        judged(made(year)).insulators[1].cause
        for year in (LOWERED, replace(LOWERED, back_hour=HOURS * 5 // 6))
    ]
    assert causes == [Cause.HYDROPHOBICITY_LASTING, Cause.HYDROPHOBICITY_REVERSIBLE]


def test_without_cleaning_rain_nothing_is_said_of_recovery() -> None:
    drawn = made(LOWERED)
    drizzle = replace(drawn.weather, rain_mm=np.zeros(HOURS))
    site = on_grid(drawn.site, drizzle, drawn.reference, drawn.now, drawn_span(drawn))
    current = site.currents["P2"]
    found = recovery_of(site.grid, current, site.earlier, site.later, 10.0)
    assert found is Recovery.UNKNOWN
    unknown = judged(replace(drawn, weather=drizzle)).insulators[1]
    assert (unknown.changed, unknown.cause) == (True, Cause.CANNOT_TELL)


def test_the_clock_counts_every_night_once_and_shows_no_slope_where_there_is_none() -> None:
    drawn = made(replace(LOWERED, onset_drop={}))
    site = on_grid(drawn.site, drawn.weather, drawn.reference, drawn.now, drawn_span(drawn))
    response = compare_hours(site.grid, site.currents["P1"], site.earlier, site.later)
    bands = recovery_clock(site.grid, response, 0.90)
    assert 0 < sum(band.nights for band in bands) <= response.night_hours.shape[0]
    assert all(band.log_low < 0.3 and band.log_high > -0.3 for band in bands)


def drawn_span(drawn: Made) -> Period:
    return replace(drawn.reference, to_us=drawn.now.to_us)
