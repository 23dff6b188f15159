"""A simulated year as the CSV files that somebody else's system would give."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from edge.quantities import BY_NAME, column_text
from gateway.trends.columns import IntervalColumns, WeatherColumns
from tests.gateway.trends.years import Made

HEADER = "start,insulator,rms_ma,seconds,peak_ma,halfcycles,arcing_halfcycles,charge_c"


def interval_file(folder: Path, made: Made) -> Path:
    path = folder / "rows.csv"
    lines = [HEADER]
    for name, rows in made.site.insulators.items():
        lines += interval_lines(name, rows)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def interval_lines(name: str, rows: IntervalColumns) -> list[str]:
    columns = [
        texts("rms_na", rows.rms_na),
        texts("duration_us", rows.duration_us),
        texts("peak_ua", rows.peak_ua),
        texts("halfcycles", rows.halfcycles),
        texts("arcing_halfcycles", rows.arcing_halfcycles),
        texts("charge_nc", rows.charge_nc),
    ]
    starts = times(rows.start_us)
    return [",".join((start, name, *cells)) for start, *cells in zip(starts, *columns, strict=True)]


def texts(quantity: str, units: np.ndarray | None) -> list[str]:
    assert units is not None
    return [column_text(BY_NAME[quantity], int(one)) for one in units.tolist()]


def times(start_us: np.ndarray) -> list[str]:
    stamps = np.datetime_as_string(start_us.astype("datetime64[us]"), unit="s")
    return [f"{stamp}Z" for stamp in stamps.tolist()]


def weather_file(folder: Path, weather: WeatherColumns) -> Path:
    path = folder / "weather.csv"
    assert weather.air_c is not None and weather.rain_mm is not None
    rows = zip(times(weather.start_us), weather.rh_pct, weather.air_c, weather.rain_mm, strict=True)
    lines = [f"{start},3600,{rh:.2f},{air:.2f},{rain:.3f}" for start, rh, air, rain in rows]
    text = "\n".join(["start,seconds,rh_pct,air_c,rain_mm", *lines])
    path.write_text(text + "\n", encoding="utf-8")
    return path


def register_file(folder: Path, made: Made) -> Path:
    path = folder / "register.toml"
    tables = [
        f'[insulator.{name}]\ntype = "composite"\nstress = "24 kV"' for name in made.site.insulators
    ]
    path.write_text("\n".join(tables) + "\n", encoding="utf-8")
    return path
