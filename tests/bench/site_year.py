"""A site of twelve insulators with a year of minute rows, in a history and as one Parquet file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from gateway.history.loaded import SITE, Columns
from gateway.history.sqlite_store import SqliteHistory
from tests.gateway.trends.years import Made, Year, made

SITE_NAME = "shingle-spit"
MONTH = "2025-12"
MEASURED = ("start_us", "duration_us", "rms_na", "peak_ua", "halfcycles", "arcing_halfcycles",
            "charge_nc")  # fmt: skip
"""Columns of the rows."""


@dataclass(frozen=True, slots=True)
class SiteYear:
    """history: folder. parquet, weather: of the same rows, for pandas. rows: of all insulators."""

    history: Path
    parquet: Path
    weather: Path
    rows: int


def site_year(folder: Path, insulators: int = 12, minutes: int = 1) -> SiteYear:
    """Writes it. minutes: of a row; one a minute is half a million rows of an insulator."""
    drawn = made(
        Year(seed=3, insulators=insulators, minutes=minutes, gap_share=0.01, factor={0: 2.5})
    )
    history = folder / "history"
    rows = _into_history(history, drawn)
    register = "".join(
        f'[insulator.{name}]\ntype = "composite"\ncreepage_mm_kv = 31\n'
        'creepage_basis = "phase-phase"\n'
        for name in drawn.site.insulators
    )
    (history / f"{SITE_NAME}.register.toml").write_text(register, encoding="utf-8")
    parquet, weather = folder / "rows.parquet", folder / "weather.parquet"
    _for_pandas(drawn, parquet, weather)
    return SiteYear(history, parquet, weather, rows)


def _into_history(folder: Path, drawn: Made) -> int:
    loader = SqliteHistory(folder).loader(SITE_NAME)
    rows = 0
    try:
        with loader.together():
            for name, one in drawn.site.insulators.items():
                columns = {key: np.asarray(getattr(one, key)).astype(np.int64) for key in MEASURED}
                loader.add_columns(Columns.INTERVAL, name, "csv", columns)
                rows += one.start_us.shape[0]
            loader.add_columns(Columns.WEATHER, SITE, "csv", _weather_units(drawn))
    finally:
        loader.close()
    return rows


def _weather_units(drawn: Made) -> dict[str, np.ndarray]:
    weather = drawn.weather
    assert weather.air_c is not None and weather.rain_mm is not None
    return {
        "start_us": weather.start_us,
        "duration_us": weather.duration_us,
        "rh_cpct": np.rint(weather.rh_pct * 100).astype(np.int64),
        "air_cdegc": np.rint(weather.air_c * 100).astype(np.int64),
        "rain_um": np.rint(weather.rain_mm * 1000).astype(np.int64),
    }


def _for_pandas(drawn: Made, parquet: Path, weather: Path) -> None:
    """Plain whole numbers, times as timestamps, the names as categories: as fast as it can be."""
    import pandas as pd

    parts = []
    for name, one in drawn.site.insulators.items():
        columns = {key: np.asarray(getattr(one, key)).astype(np.int64) for key in MEASURED}
        frame = pd.DataFrame(columns)
        frame["start"] = pd.to_datetime(frame.pop("start_us"), unit="us", utc=True)
        frame.insert(0, "insulator", name)
        parts.append(frame)
    whole = pd.concat(parts, ignore_index=True)
    whole["insulator"] = whole["insulator"].astype("category")
    whole.to_parquet(parquet)
    units = _weather_units(drawn)
    sky = pd.DataFrame({"rh_pct": units["rh_cpct"] / 100.0, "rain_mm": units["rain_um"] / 1000.0})
    sky["start"] = pd.to_datetime(units["start_us"], unit="us", utc=True)
    sky.to_parquet(weather)
