"""Back-test of the fog forecast: held-out evenings of the second year, and climatology beside it.

Each evening the forecast gets all rows until then and tomorrow's weather, either as the probe will
read it or with an error that grows over the night, whose size it is told. What it says is held
against the rows that came.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from gateway.trends import IntervalColumns, WeatherColumns
from gateway.trends.forecast import NightForecast, forecast_night
from tests.second_years.climate import YEAR_H, Floats
from tests.second_years.instruments import HOUR_US
from tests.second_years.site import Rows, rows_of, stage

ASKED_AT_H = 16
"""Local hour at which the forecast is asked for; it is for the 24 hours from then."""

HOURS_LEAST = 20
LEVEL = 0.9
HISTORY_DAYS = 365


@dataclass(frozen=True, slots=True)
class Evening:
    """One forecast of one insulator. known_ma: highest hour of each earlier night, climatology.

    low_ma, high_ma: None where the forecast said nothing.
    """

    coast: str
    night: int
    low_ma: float | None
    high_ma: float | None
    true_ma: float
    arcing_low: float | None
    arcing_high: float | None
    arcing_true: float
    climate_low_ma: float
    climate_high_ma: float

    @property
    def said(self) -> bool:
        """Whether a range was given."""
        return self.low_ma is not None and self.high_ma is not None

    def holds(self) -> bool:
        """Whether the range holds what came."""
        assert self.low_ma is not None and self.high_ma is not None
        return self.low_ma <= self.true_ma <= self.high_ma

    def scores(self) -> tuple[float, float]:
        """Interval scores in log current (small is good) of the forecast and of climatology."""
        assert self.low_ma is not None and self.high_ma is not None
        theirs = _score(self.low_ma, self.high_ma, self.true_ma)
        return theirs, _score(self.climate_low_ma, self.climate_high_ma, self.true_ma)


def _score(low_ma: float, high_ma: float, true_ma: float) -> float:
    """Width and what it costs to miss (Gneiting and Raftery's interval score; as recalled)."""
    low, high, true = (np.log(max(one, 1e-4)) for one in (low_ma, high_ma, true_ma))
    missed = max(low - true, 0.0) + max(true - high, 0.0)
    return float(high - low + 2 / (1 - LEVEL) * missed)


def hourly_ma(rows: IntervalColumns, first_h: int, hours: int) -> Floats:
    """What the forecast speaks of, by the hour: resistive at the median voltage, else r.m.s."""
    current = np.full(hours, np.nan)
    places = rows.start_us // HOUR_US - first_h
    assert rows.rms_na is not None
    if rows.in_phase_na is None or rows.voltage_mv is None:
        current[places] = rows.rms_na * 1e-6
    else:
        volts = rows.voltage_mv / np.median(rows.voltage_mv[rows.voltage_mv > 0])
        alive = volts > 0.5
        current[places[alive]] = (rows.in_phase_na[alive] / volts[alive]) * 1e-6
    if rows.doubted is not None:
        current[places[rows.doubted]] = np.nan
    return current


def _forecast_weather(
    rows: WeatherColumns, from_us: int, sd_pct: float, rng: np.random.Generator
) -> WeatherColumns:
    """The next 24 hours of the station, with an error of this size that wanders."""
    chosen = (rows.start_us >= from_us) & (rows.start_us < from_us + 24 * HOUR_US)
    count = int(chosen.sum())
    wandering = sd_pct * (0.9 * rng.standard_normal() + 0.43 * rng.standard_normal(count))
    assert rows.air_c is not None
    return WeatherColumns(
        rows.start_us[chosen], rows.duration_us[chosen],
        np.clip(rows.rh_pct[chosen] + wandering, 5, 100), rows.air_c[chosen],
    )  # fmt: skip


def _highest(currents: Floats, at: int) -> float | None:
    """Highest hour of a day from `at`; None where too little was recorded."""
    night = currents[at : at + 24]
    good = np.isfinite(night)
    return float(np.nanmax(night)) if good.sum() >= HOURS_LEAST else None


def evenings(
    seed: int, coast: int, every: int, sd_pct: float = 0.0, count: int = 6
) -> Iterator[Evening]:
    """Every so many evenings of the second year, all insulators of an ordinary site."""
    one, rng = stage([30, seed], coast, count)
    rows, _ = rows_of(one, rng)
    first_h, hours = int(one.weather.utc_h[0]), 2 * YEAR_H
    currents = {n: hourly_ma(c, first_h, hours) for n, c in rows.columns.insulators.items()}
    arcs = {n: _arcs(c, first_h, hours) for n, c in rows.columns.insulators.items()}
    start = YEAR_H + int(rng.integers(0, every)) * 24 + ASKED_AT_H
    for at in range(start, hours - 30, every * 24):
        for name, said in _asked(rows, (first_h + at) * HOUR_US, sd_pct, rng).items():
            true = _highest(currents[name], at)
            if true is None:
                continue
            past = [_highest(currents[name], at - 24 * d) for d in range(1, HISTORY_DAYS + 1)]
            known = [night for night in past if night is not None]
            low, high = np.quantile(known, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
            yield Evening(
                one.weather.coast.name, at, said.current_low_ma, said.current_high_ma, true,
                said.arcing_low, said.arcing_high, float(arcs[name][at : at + 24].sum()),
                float(low), float(high),
            )  # fmt: skip


def _asked(
    rows: Rows, at_us: int, sd_pct: float, rng: np.random.Generator
) -> dict[str, NightForecast]:
    assert rows.weather is not None
    coming = _forecast_weather(rows.weather, at_us, sd_pct, rng)
    if coming.start_us.size < HOURS_LEAST:
        return {}
    return forecast_night(
        rows.columns, rows.weather, coming, at_us, humidity_sd_pct=sd_pct, level=LEVEL
    )


def _arcs(rows: IntervalColumns, first_h: int, hours: int) -> Floats:
    counts = np.zeros(hours)
    assert rows.arcing_halfcycles is not None
    counts[rows.start_us // HOUR_US - first_h] = rows.arcing_halfcycles
    return counts


def coverage(chosen: Sequence[Evening]) -> tuple[int, int]:
    """How many of the ranges that were given hold what came."""
    given = [evening for evening in chosen if evening.said]
    return sum(evening.holds() for evening in given), len(given)


def sharpness(chosen: Sequence[Evening]) -> float:
    """Mean interval score against climatology's; below 1 is sharper."""
    pairs = [evening.scores() for evening in chosen if evening.said]
    return float(sum(one for one, _ in pairs) / sum(other for _, other in pairs))
