"""The simulated rows as CSV files that `seafret load` takes, for the program's own front door."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd

from edge.quantities import BY_NAME, STATES
from gateway.trends import IntervalColumns, WeatherColumns

MEASURES = ("rms_na", "peak_ua", "in_phase_na", "voltage_mv", "halfcycles", "arcing_halfcycles")
WEATHER = ("rh_pct", "air_c", "rain_mm", "wind_m_s", "wind_from_deg")


def _times(starts_us: np.ndarray) -> pd.Series:
    return pd.Series(pd.to_datetime(starts_us, unit="us", utc=True)).dt.strftime(
        "%Y-%m-%dT%H:%M:%SZ"
    )


def interval_file(path: Path, insulators: Mapping[str, IntervalColumns]) -> Path:
    """One file with the rows of all insulators."""
    tables = []
    for name, rows in insulators.items():
        table = {"insulator": name, "start": _times(rows.start_us)}
        table["seconds"] = rows.duration_us // 1_000_000
        for measure in MEASURES:
            column, decimals = BY_NAME[measure].column, BY_NAME[measure].decimals
            if (series := getattr(rows, measure)) is not None:
                table[column] = series if not decimals else series / 10.0**decimals
        if rows.state is not None:
            table["state"] = np.array([state.value for state in STATES])[rows.state]
        doubted = rows.doubted if rows.doubted is not None else np.zeros(len(rows.start_us), bool)
        table["flags"] = np.where(doubted, "saturated", "")
        tables.append(pd.DataFrame(table))
    pd.concat(tables).to_csv(path, index=False)
    return path


def weather_file(path: Path, rows: WeatherColumns) -> Path:
    """The station's rows."""
    table = {"start": _times(rows.start_us), "seconds": rows.duration_us // 1_000_000}
    table |= {name: getattr(rows, name) for name in WEATHER}
    pd.DataFrame(table).to_csv(path, index=False)
    return path
