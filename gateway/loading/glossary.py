"""Columns of a CSV file and what they are in the history: one table, for loading and for export.

A CSV column has an SI unit in its name and decimals; the history has whole numbers of the declared
resolution (`edge.quantities`). Columns are those that `seafret replay` writes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from edge.quantities import (
    BOTH_POLARITIES,
    BY_COLUMN,
    BY_NAME,
    HALFCYCLE_COUNTS,
    PULSE_COUNTS,
    STATES,
    Quantity,
)
from edge.records import LineStatus


@dataclass(frozen=True, slots=True)
class Measure:
    """One number of a row. name: of the history's column. quantity: unit, places, range."""

    name: str
    quantity: Quantity

    @property
    def column(self) -> str:
        """As it stands in a CSV header."""
        return self.quantity.column


def _plain(name: str) -> Measure:
    return Measure(name, BY_NAME[name])


def _like(column: str, model: str, name: str) -> Measure:
    return Measure(name, replace(BY_NAME[model], name=name, column=column))


def _by_polarity(name: str) -> tuple[Measure, ...]:
    stem, unit = name.rsplit("_", 1)
    column_stem, column_unit = BY_NAME[name].column.rsplit("_", 1)
    return tuple(
        _like(f"{column_stem}_{pole}_{column_unit}", name, f"{stem}_{pole}_{unit}")
        for pole in ("positive", "negative")
    )


_PLAIN = (
    "frequency_millihz",
    "voltage_mv",
    *HALFCYCLE_COUNTS,
    "clipped_halfcycles",
    "peak_ua",
    "arcing_peak_ua",
    "rms_na",
    "mean_na",
    "h1_na",
    "h2_ppm",
    "h3_ppm",
    "h3_cdeg",
    "h5_ppm",
    "h5_h3_ppm",
    "thd_ppm",
    "in_phase_na",
    "quadrature_na",
)
_STATE_COVER = {state: f"{state.value.replace('-', '_')}_us" for state in STATES}

INTERVAL_MEASURES: tuple[Measure, ...] = (
    *map(_plain, _PLAIN),
    *map(_plain, BOTH_POLARITIES),
    *(measure for name in BOTH_POLARITIES for measure in _by_polarity(name)),
    *(_like(name, "halfcycles", name) for name in PULSE_COUNTS),
    _like("windows", "halfcycles", "windows"),
    *(
        _like(f"seconds_{name.removesuffix('_us')}", "duration_us", name)
        for name in _STATE_COVER.values()
    ),
)
WEATHER_MEASURES: tuple[Measure, ...] = tuple(
    Measure(BY_COLUMN[column].name, BY_COLUMN[column])
    for column in (
        "rh_pct",
        "air_c",
        "dew_point_c",
        "rain_mm",
        "wind_m_s",
        "wind_from_deg",
        "uv_w_m2",
    )
)
SECONDS = _plain("duration_us")

STATE_NAMES = tuple(state.value for state in STATES)
"""A row's state is kept as its place here."""

ACTIONS = ("wash", "inspect", "recoat", "replace", "sensor", "outage")
FINDINGS = ("chalking", "crazing", "tracking", "erosion", "hydrophobicity", "corrosion", "other")
GRADES = ("light", "moderate", "severe")
HYDROPHOBICITY_CLASSES = tuple("1234567")
"""Wettability classes 1 (repels water) to 7 (a film), IEC TS 62073 (as recalled)."""
LINE_STATUSES = tuple(status.value for status in LineStatus)

EROSION_DEPTH = Quantity(
    "depth_um", "depth_mm", "mm", 3, 0, 100_000, False, "depth of erosion or tracking"
)
ESDD = Quantity(
    "esdd_ng_cm2", "esdd_mg_cm2", "mg/cm2", 6, 0, 50_000_000, False,
    "equivalent salt deposit density",
)  # fmt: skip
NSDD = Quantity(
    "nsdd_ng_cm2", "nsdd_mg_cm2", "mg/cm2", 6, 0, 500_000_000, False,
    "non-soluble deposit density",
)  # fmt: skip
