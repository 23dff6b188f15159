"""Back-tests of the fog forecast: `python -m tests.gateway.trends.fog_trials --trials N`.

Each night is forecast from the rows before it alone and the humidity that then came (with an error
where the kind says so), and scored against what the rows then said. Split by time: the first 150
nights of a year are never scored. The generator is the one that the trend's trials use, so nothing
here is unseen; honest judges draw their own years.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from gateway.trends.columns import DAY_US, HOUR_US, WeatherColumns
from gateway.trends.forecast import NightForecast, forecast_night
from gateway.trends.hours import current_hours, site_hours
from tests.gateway.trends.years import FILES, START_US, Made, Year, made

FIRST_NIGHT, NIGHTS = 150, 364
WET_PCT = 80.0


@dataclass(frozen=True, slots=True)
class Kind:
    """errs_pct: of the humidity forecast; told_pct: what the forecast is told of it. every: of so
    many nights one is scored. begin_h, hours: of a night."""

    label: str
    year: Year
    errs_pct: float = 0.0
    told_pct: float = 0.0
    begin_h: int = 17
    hours: int = 16


BASE = Year(seed=0, insulators=2)
BOTH = dict.fromkeys(range(2), 2.0)
KINDS: dict[str, Kind] = {
    "steady": Kind("steady surfaces, Miami", BASE),
    "north": Kind("steady surfaces, Sand Point", replace(BASE, file=FILES[1])),
    "carry": Kind("nights resemble (0.5)", replace(BASE, carry=0.5)),
    "deposit": Kind("deposit doubled mid-year", replace(BASE, factor=BOTH)),
    "onset": Kind("onset lower by 10 % mid-year", replace(BASE, onset_drop={0: 10.0, 1: 10.0})),
    "power": Kind("power-law response", replace(BASE, shape="power")),
    "relay": Kind("salt wets 76 dries 55", replace(BASE, relay=True)),
    "season": Kind("wet season after a dry one", replace(BASE, dryer_first_pct=6.0)),
    "rough": Kind("night effect of 0.8 in log", replace(BASE, night_sd=0.8)),
    "gaps": Kind("8 % gaps", replace(BASE, gap_share=0.08)),
    "errs": Kind("humidity errs by 3 %, told so", BASE, 3.0, 3.0),
    "untold": Kind("humidity errs by 3 %, not told", BASE, 3.0, 0.0),
    "day": Kind("noon to noon", BASE, begin_h=12, hours=24),
}


@dataclass(frozen=True, slots=True)
class Scored:
    """One insulator's night."""

    said: NightForecast
    highest_ma: float
    arcing: float

    @property
    def held(self) -> bool:
        """Whether the highest hourly current fell within what was said."""
        assert self.said.current_low_ma is not None and self.said.current_high_ma is not None
        return self.said.current_low_ma <= self.highest_ma <= self.said.current_high_ma

    @property
    def arcing_held(self) -> bool:
        assert self.said.arcing_low is not None and self.said.arcing_high is not None
        return self.said.arcing_low <= self.arcing <= self.said.arcing_high


def scored_year(kind: Kind, seed: int, every: int) -> list[Scored]:
    """Nights of one drawn year that were said something of."""
    drawn = made(replace(kind.year, seed=seed))
    draw = np.random.default_rng([seed, 17])
    found = []
    for day in range(FIRST_NIGHT, NIGHTS, every):
        known_until_us = START_US + day * DAY_US + kind.begin_h * HOUR_US
        error = float(draw.normal(0.0, 1.0)) * kind.errs_pct
        ahead = _ahead(drawn.weather, known_until_us, kind.hours, error)
        said = forecast_night(
            drawn.site, drawn.weather, ahead, known_until_us, humidity_sd_pct=kind.told_pct
        )
        found += _compared(drawn, said.values())
    return found


def _ahead(weather: WeatherColumns, from_us: int, hours: int, error: float) -> WeatherColumns:
    there = (weather.start_us >= from_us) & (weather.start_us < from_us + hours * HOUR_US)
    rh = np.clip(weather.rh_pct[there] + error, 1.0, 100.0)
    return WeatherColumns(weather.start_us[there], weather.duration_us[there], rh)


def _compared(drawn: Made, said: Iterable[NightForecast]) -> list[Scored]:
    found = []
    for one in said:
        grid = site_hours(drawn.weather, one.from_us, one.to_us)
        came = current_hours(drawn.site.insulators[one.insulator], grid)
        known = np.isfinite(came.current_ma)
        if one.current_ma is not None and known.mean() >= 0.75:
            highest = float(np.nanmax(came.current_ma))
            found.append(Scored(one, highest, float(came.arcing.sum())))
    return found


def line(kind: Kind, scored: list[Scored]) -> str:
    """Counts over all nights, and over the wet ones alone."""
    wet = [one for one in scored if (one.said.wettest_pct or 0.0) > WET_PCT]
    arced = sum(one.arcing_held for one in scored)
    width = np.median([(w.said.current_high_ma or 0) / (w.said.current_low_ma or 1) for w in wet])
    return (
        f"{kind.label:32} {_share([one.held for one in scored])} wet "
        f"{_share([one.held for one in wet])} high/low {width:4.1f} "
        f"arcing {arced / len(scored):.3f}"
    )


def _share(held: list[bool]) -> str:
    return f"{sum(held):4}/{len(held):4} {sum(held) / max(len(held), 1):.3f}"


if __name__ == "__main__":
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--trials", type=int, default=4)
    reader.add_argument("--every", type=int, default=2, help="of so many nights one is scored")
    given = reader.parse_args()
    for each in KINDS.values():
        years = [scored_year(each, seed, given.every) for seed in range(given.trials)]
        print(line(each, [one for year in years for one in year]), flush=True)
