"""A site's rows as the trends take them, whatever way they came in: sent by units, or loaded.

Interval columns are read when an insulator is asked for and not held, so that a year of minutes of
a whole site needs the memory of one insulator.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from edge.quantities import STATES, Flag
from gateway.history.chunks import ABSENT, Bools, Floats, Ints
from gateway.history.loaded import SITE, Columns, LoadedRows
from gateway.trends.columns import IntervalColumns, Period, WeatherColumns

DOUBTED_FLAGS = (
    Flag.MISSING,
    Flag.SATURATED,
    Flag.NOT_FINITE,
    Flag.SENSOR_FAULT,
    Flag.VOLTAGE_ABNORMAL,
)
"""A row with one of them says nothing of the surface's current."""

_STATE_COVER = tuple(f"{state.value.replace('-', '_')}_us" for state in STATES)
_PLAIN = (
    "duration_us",
    "state",
    "flags",
    "rms_na",
    "peak_ua",
    "in_phase_na",
    "voltage_mv",
    "halfcycles",
    "arcing_halfcycles",
)
RESPONSE_SUMS = ("charge_nc",)
EVERY_SUM = ("charge_nc", "arcing_charge_nc", "i2t_pa2s", "arcing_i2t_pa2s", "energy_uj")
_WEATHER = {
    "rh_pct": ("rh_cpct", 1e-2),
    "air_c": ("air_cdegc", 1e-2),
    "dew_point_c": ("dew_point_cdegc", 1e-2),
    "rain_mm": ("rain_um", 1e-3),
    "wind_m_s": ("wind_mm_s", 1e-3),
    "wind_from_deg": ("wind_from_cdeg", 1e-2),
    "uv_w_m2": ("uv_mw_m2", 1e-3),
}


@dataclass(frozen=True, slots=True)
class InsulatorRows(Mapping[str, IntervalColumns]):
    """The rows of a site's insulators within `span`, each read when it is asked for.

    sums: of EVERY_SUM, those that are read. dead: spans in which the line was out of service.
    """

    rows: LoadedRows
    span: Period
    sums: tuple[str, ...] = RESPONSE_SUMS
    dead: tuple[Period, ...] = ()

    def __getitem__(self, insulator: str) -> IntervalColumns:
        if insulator not in self.names():
            raise KeyError(insulator)
        return interval_columns(self.rows, insulator, self.span, self.sums, self.dead)

    def __iter__(self) -> Iterator[str]:
        return iter(self.names())

    def __len__(self) -> int:
        return len(self.names())

    def names(self) -> list[str]:
        """All insulators that the history knows, by name."""
        return insulators_of(self.rows)


def insulators_of(rows: LoadedRows) -> list[str]:
    """Insulators that units sent rows of or that were loaded, by name."""
    return sorted({*rows.insulators(), *rows.loaded_insulators()})


def extent_us(rows: LoadedRows, kind: Columns) -> tuple[int, int] | None:
    """From the first start to the last end of all rows of a kind; None without rows."""
    found = [one for one in (rows.extent_us(kind), rows.live_extent_us(kind)) if one is not None]
    return (min(one[0] for one in found), max(one[1] for one in found)) if found else None


def interval_columns(
    rows: LoadedRows,
    insulator: str,
    span: Period,
    sums: tuple[str, ...] = EVERY_SUM,
    dead: tuple[Period, ...] = (),
) -> IntervalColumns:
    """One insulator's rows in a span, live ones first where two start together."""
    poles = {name: _poles(name) for name in sums}
    names = (*_PLAIN, *_STATE_COVER, *sums, *(pole for pair in poles.values() for pole in pair))
    read = (Columns.INTERVAL, insulator, names, span.from_us, span.to_us)
    live, loaded = rows.live_columns(*read), rows.loaded_columns(*read)
    live["state"] = _state_codes(live["state"], rows)
    both = _one_after_another(live, loaded)
    doubted = _flagged(both["flags"], rows) | _within(both["start_us"], dead)
    summed = {name: _summed(both, name, pair) for name, pair in poles.items()}
    return IntervalColumns(
        start_us=both["start_us"],
        duration_us=both["duration_us"],
        rms_na=_floats(both["rms_na"]),
        peak_ua=_floats(both["peak_ua"]),
        in_phase_na=_floats(both["in_phase_na"]),
        voltage_mv=_floats(both["voltage_mv"]),
        halfcycles=_counts(both["halfcycles"]),
        arcing_halfcycles=_counts(both["arcing_halfcycles"]),
        state=None if _nothing(both["state"]) else _known_or(both["state"], -1).astype(np.int8),
        state_us=_state_cover(both),
        charge_nc=summed.get("charge_nc"),
        arcing_charge_nc=summed.get("arcing_charge_nc"),
        i2t_pa2s=summed.get("i2t_pa2s"),
        arcing_i2t_pa2s=summed.get("arcing_i2t_pa2s"),
        energy_uj=summed.get("energy_uj"),
        doubted=doubted if doubted.any() else None,
    )


def _one_after_another(live: dict[str, Ints], loaded: dict[str, Ints]) -> dict[str, Ints]:
    if not loaded["start_us"].size:
        return live
    if not live["start_us"].size:
        return loaded
    both = {name: np.concatenate((live[name], loaded[name])) for name in live}
    order = np.argsort(both["start_us"], kind="stable")
    return {name: column[order] for name, column in both.items()}


def _poles(name: str) -> tuple[str, str]:
    stem, unit = name.rsplit("_", 1)
    return f"{stem}_positive_{unit}", f"{stem}_negative_{unit}"


def _summed(columns: dict[str, Ints], name: str, poles: tuple[str, str]) -> Ints | None:
    """The sum as it was given, else of both polarities; None where it was never given."""
    positive, negative = (columns[pole] for pole in poles)
    by_pole = np.where(
        (positive == ABSENT) | (negative == ABSENT), ABSENT, positive + _known_or(negative, 0)
    )
    return _counts(np.where(columns[name] == ABSENT, by_pole, columns[name]))


def _state_codes(words: Ints, rows: LoadedRows) -> Ints:
    """Places in STATES of states that are numbers of words."""
    found = np.full(words.shape[0], ABSENT)
    for number in np.unique(words[words != ABSENT]).tolist():
        found[words == number] = [state.value for state in STATES].index(rows.spell(number))
    return found


def _state_cover(columns: dict[str, Ints]) -> Ints | None:
    if all(_nothing(columns[name]) for name in _STATE_COVER):
        return None
    return np.column_stack([_known_or(columns[name], 0) for name in _STATE_COVER])


def _flagged(flags: Ints, rows: LoadedRows) -> Bools:
    """Rows with a flag that forbids using their current."""
    wrong = [
        number
        for number in np.unique(flags[flags != ABSENT]).tolist()
        if any(f'"{flag.value}"' in rows.spell(number) for flag in DOUBTED_FLAGS)
    ]
    return np.isin(flags, wrong)


def _within(start_us: Ints, spans: tuple[Period, ...]) -> Bools:
    inside = np.zeros(start_us.shape[0], np.bool_)
    for span in spans:
        inside |= (start_us >= span.from_us) & (start_us < span.to_us)
    return inside


def _nothing(column: Ints) -> bool:
    return bool((column == ABSENT).all())


def _known_or(column: Ints, otherwise: int) -> Ints:
    return np.where(column == ABSENT, otherwise, column)


def _floats(column: Ints) -> Floats | None:
    if _nothing(column):
        return None
    return np.where(column == ABSENT, np.nan, column.astype(np.float64))


def _counts(column: Ints) -> Ints | None:
    return None if _nothing(column) else _known_or(column, 0)


def forecast_columns(rows: LoadedRows, issued: str, span: Period) -> WeatherColumns | None:
    """The humidity of a forecast in a span; None where no row has any."""
    names = ("duration_us", "rh_cpct")
    found = rows.loaded_columns(Columns.FORECAST, issued, names, span.from_us, span.to_us)
    humid = _floats(found["rh_cpct"]) if found["start_us"].size else None
    if humid is None:
        return None
    return WeatherColumns(found["start_us"], found["duration_us"], humid * 1e-2)


def weather_columns(rows: LoadedRows, span: Period) -> WeatherColumns | None:
    """The site's weather in a span; None where no row has any humidity."""
    names = ("duration_us", *(name for name, _ in _WEATHER.values()))
    read = (Columns.WEATHER, SITE, names, span.from_us, span.to_us)
    live, loaded = rows.live_columns(*read), rows.loaded_columns(*read)
    both = _one_after_another(live, loaded)
    humid = _floats(both["rh_cpct"])
    if humid is None:
        return None
    scaled = {
        name: None if (found := _floats(both[column])) is None else found * step
        for name, (column, step) in _WEATHER.items()
        if name != "rh_pct"
    }
    return WeatherColumns(both["start_us"], both["duration_us"], humid * 1e-2, **scaled)
