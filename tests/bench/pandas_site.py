"""The figures of a site as one would straightforwardly have them from pandas."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from tests.bench.site_year import SiteYear

LEVELS_MA = (5, 20, 50, 100, 200)
BANDS = (0.0, 60.0, 65.0, 70.0, 75.0, 80.0, 85.0, 90.0, 95.0, 100.1)


@dataclass(frozen=True, slots=True)
class Figures:
    """Of a site: hourly r.m.s. [mA] by insulator; wet hours; sums by day, by month and of life;
    arcing half-cycles by level; highest of each month [mA]; share of arcing by humidity band."""

    hourly_ma: dict[str, np.ndarray]
    wet_hours: int
    days: dict[str, np.ndarray]
    months: dict[str, np.ndarray]
    life: dict[str, np.ndarray]
    levels: dict[str, np.ndarray]
    maxima_ma: dict[str, np.ndarray]
    bands: dict[str, np.ndarray]


SUMS = ["halfcycles", "arcing_halfcycles", "charge_nc"]


def figures(year: SiteYear) -> Figures:
    """All of them."""
    rows = pd.read_parquet(year.parquet)
    sky = pd.read_parquet(year.weather).set_index("start")
    rows["hour"] = rows["start"].dt.floor("h")
    rows["square"] = (rows["rms_na"] / 1e6) ** 2 * rows["duration_us"]
    by_hour = rows.groupby(["insulator", "hour"], observed=True)
    hourly = by_hour[["square", "duration_us", *SUMS]].sum()
    hourly["rms_ma"] = np.sqrt(hourly["square"] / hourly["duration_us"])
    by_day = rows.groupby(["insulator", rows["start"].dt.floor("D")], observed=True)[SUMS].sum()
    month = rows["start"].dt.strftime("%Y-%m")
    by_month = rows.groupby(["insulator", month], observed=True)
    months, peaks = by_month[SUMS].sum(), by_month["peak_ua"].max() / 1000.0
    rows["level"] = pd.cut(rows["peak_ua"] / 1000.0, [-np.inf, *LEVELS_MA, np.inf], labels=False)
    level = rows.pivot_table(
        index="insulator", columns="level", values="arcing_halfcycles", aggfunc="sum",
        observed=True, fill_value=0,
    ).reindex(columns=range(len(LEVELS_MA) + 1), fill_value=0)  # fmt: skip
    joined = hourly.reset_index().merge(sky, left_on="hour", right_index=True)
    joined["band"] = pd.cut(joined["rh_pct"], BANDS, right=False, labels=False)
    band = joined.groupby(["insulator", "band"], observed=True)[SUMS[:2]].sum()
    share = band["arcing_halfcycles"] / band["halfcycles"]
    names = list(rows["insulator"].cat.categories)
    return Figures(
        hourly_ma={one: hourly.loc[one]["rms_ma"].to_numpy() for one in names},
        wet_hours=int(_wet(sky).sum()),
        days={one: by_day.loc[one].to_numpy() for one in names},
        months={one: months.loc[one].to_numpy() for one in names},
        life={one: months.loc[one].sum().to_numpy() for one in names},
        levels={one: level.loc[one].to_numpy() for one in names},
        maxima_ma={one: peaks.loc[one].to_numpy() for one in names},
        bands={one: share.loc[one].to_numpy() for one in names},
    )


def _wet(sky: pd.DataFrame) -> pd.Series:
    """Wet from 75 % or rain on, dry from below 65 % on."""
    state = pd.Series(np.nan, index=sky.index)
    wets = (sky["rh_pct"] >= 75.0) | (sky["rain_mm"] > 0)
    state[(sky["rh_pct"] < 65.0) & ~wets] = 0.0
    state[wets] = 1.0
    return state.ffill().fillna(0.0) > 0
