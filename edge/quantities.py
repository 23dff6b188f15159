"""The glossary: every measured quantity, its unit, resolution, range, meaning and source.

Inside the program and on the wire a quantity is an integer of its declared resolution (`peak_ua` is
whole microamperes), so limits are compared and sums are taken exactly. For people it is a column
with an SI unit (`peak_ma`, a decimal with `decimals` places). The table below is the only place
that relates the two; validation, CSV headers, console labels and the docs are made from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

INT64_MAX = (1 << 63) - 1
"""Every integer of a record stays within this, so that any database can hold it."""

PULSE_LEVELS_MA = (5, 20, 50, 100, 200)
"""Levels of the pulse counts [mA]. Design choice; no standard set was found."""

PULSE_COUNTS = tuple(
    f"{kind}_{level}ma" for kind in ("pulses", "arc_pulses") for level in PULSE_LEVELS_MA
)
"""Names of the pulse counts: above each level, and those of them within arcing half-cycles."""

HALFCYCLE_COUNTS = (
    "halfcycles",
    "arcing_halfcycles",
    "arcing_positive",
    "arcing_negative",
    "doubtful_halfcycles",
    "spike_halfcycles",
)
"""Names of the counts of half-cycles that windows and intervals have in common."""

WINDOW_CYCLES = {50: 10, 60: 12}
"""Cycles of one window by nominal frequency, about 200 ms (IEC 61000-4-7, as recalled)."""


class State(StrEnum):
    """What the surface of an insulator does during a window; the order is that of `state_us`."""

    DRY = "dry"
    WET = "wet"
    ARCING_SPARSE = "arcing-sparse"
    ARCING_DENSE = "arcing-dense"
    DE_ENERGISED = "de-energised"
    UNKNOWN = "unknown"


STATES = tuple(State)


class Flag(StrEnum):
    """Doubt that travels with a row; an aggregate's flags are the union of its parts'."""

    SHORT_WINDOW = "short-window"  # cut by a tick, a gap or the end
    GAP = "gap"  # samples were lost within the interval
    MISSING = "missing"  # the source says that values are absent
    SATURATED = "saturated"  # the converter was at its end: the true value is higher
    NOT_FINITE = "not-finite"  # NaN or infinity in the feed
    NO_REFERENCE = "no-reference"  # no voltage channel: no phase, no energy
    REFERENCE_DOUBTFUL = "reference-doubtful"  # the voltage channel does not look like a voltage
    NO_DRY_PHASOR = "no-dry-phasor"  # no calibration of the dry current
    STATED_FLOOR = "stated-floor"  # wet was told by a floor on the fundamental alone
    NO_FREQUENCY = "no-frequency"  # no mains frequency could be found
    CLOCK_UNSYNCHRONISED = "clock-unsynchronised"
    CLOCK_STEP = "clock-step"  # UTC stepped against the sample counter
    TIME_ZONE_ASSUMED = "time-zone-assumed"  # a record before 2013 read as UTC
    SENSOR_FAULT = "sensor-fault"  # dead, open or short: see the health records
    SENSOR_REVERSED = "sensor-reversed"  # the resistive current flows against the voltage
    VOLTAGE_ABNORMAL = "voltage-abnormal"  # outside the band of normal service
    DOUBTFUL_ARCING = "doubtful-arcing"  # at least one half-cycle could not be told
    FINE_RANGE_CLIPPED = "fine-range-clipped"  # the coarse range took over
    LATE = "late"  # reached the gateway long after it was measured
    IMPOSSIBLE_WEATHER = "impossible-weather"  # a weather reading out of range was left out
    UNIT_ASSUMED = "unit-assumed"  # the record does not say primary or secondary
    DRY_CURRENT_OFF = "dry-current-off"  # not as calibrated: a bypass, lead, gain or phase


@dataclass(frozen=True, slots=True)
class Quantity:
    """One row of the glossary.

    name: as in records. column: as in CSV files and on screens, unit last. decimals: places of the
    column; one unit of the record's integer is 10**-decimals of the column's unit.
    low, high: what is accepted, in units of the record. additive: sums over time are meaningful.
    """

    name: str
    column: str
    unit: str
    decimals: int
    low: int
    high: int
    additive: bool
    meaning: str
    source: str = "design choice"


_MA = 10_000_000_000  # 10 A in nA
_SUM = INT64_MAX

QUANTITIES: tuple[Quantity, ...] = (
    Quantity("duration_us", "seconds", "s", 6, 0, _SUM, True, "true cover of the row, by counter"),
    Quantity(
        "frequency_millihz",
        "frequency_hz",
        "Hz",
        3,
        40_000,
        70_000,
        False,
        "mains frequency on the mains clock",
    ),
    Quantity(
        "voltage_mv",
        "voltage_kv",
        "kV",
        6,
        0,
        _SUM,
        False,
        "r.m.s. of the voltage reference, phase to earth",
    ),
    Quantity("halfcycles", "halfcycles", "", 0, 0, _SUM, True, "mains half-cycles begun"),
    Quantity(
        "arcing_halfcycles",
        "arcing_halfcycles",
        "",
        0,
        0,
        _SUM,
        True,
        "half-cycles with a dry-band arc",
    ),
    Quantity(
        "arcing_positive",
        "arcing_positive",
        "",
        0,
        0,
        _SUM,
        True,
        "arcing half-cycles of positive current",
    ),
    Quantity(
        "arcing_negative",
        "arcing_negative",
        "",
        0,
        0,
        _SUM,
        True,
        "arcing half-cycles of negative current",
    ),
    Quantity(
        "doubtful_halfcycles",
        "doubtful_halfcycles",
        "",
        0,
        0,
        _SUM,
        True,
        "half-cycles that could not be told; counted as not arcing",
    ),
    Quantity(
        "spike_halfcycles",
        "spike_halfcycles",
        "",
        0,
        0,
        _SUM,
        True,
        "half-cycles with only corona-like spikes; counted as not arcing",
    ),
    Quantity(
        "clipped_halfcycles",
        "clipped_halfcycles",
        "",
        0,
        0,
        _SUM,
        True,
        "half-cycles at the converter's end: true value higher",
    ),
    Quantity("peak_ua", "peak_ma", "mA", 3, 0, _MA, False, "highest absolute current"),
    Quantity(
        "arcing_peak_ua",
        "arcing_peak_ma",
        "mA",
        3,
        0,
        _MA,
        False,
        "highest absolute current of an arcing half-cycle",
    ),
    Quantity("rms_na", "rms_ma", "mA", 6, 0, _MA, False, "r.m.s. of the whole current"),
    Quantity("mean_na", "mean_ma", "mA", 6, -_MA, _MA, False, "signed mean"),
    Quantity("h1_na", "h1_ma", "mA", 6, 0, _MA, False, "r.m.s. of the fundamental (subgroup)"),
    Quantity("h2_ppm", "h2_ratio", "", 6, 0, _SUM, False, "second harmonic to the fundamental"),
    Quantity("h3_ppm", "h3_ratio", "", 6, 0, _SUM, False, "third harmonic to the fundamental"),
    Quantity(
        "h3_cdeg",
        "h3_deg",
        "deg",
        2,
        -18_000,
        18_000,
        False,
        "phase of the third against three times the fundamental's, both as sines; "
        "about 180: dead bands, about 0: flat top",
    ),
    Quantity("h5_ppm", "h5_ratio", "", 6, 0, _SUM, False, "fifth harmonic to the fundamental"),
    Quantity(
        "h5_h3_ppm",
        "h5_h3",
        "",
        6,
        0,
        _SUM,
        False,
        "fifth to third harmonic; not monotonic in arcing, never used alone",
    ),
    Quantity(
        "thd_ppm",
        "thd",
        "",
        6,
        0,
        _SUM,
        False,
        "orders 2 to 40 to the fundamental, subgroups after IEC 61000-4-7 (as recalled)",
    ),
    Quantity(
        "in_phase_na",
        "in_phase_ma",
        "mA",
        6,
        -_MA,
        _MA,
        False,
        "r.m.s. of the fundamental in phase with the voltage",
    ),
    Quantity(
        "quadrature_na",
        "quadrature_ma",
        "mA",
        6,
        -_MA,
        _MA,
        False,
        "r.m.s. of the fundamental leading the voltage by 90 degrees",
    ),
    Quantity("charge_nc", "charge_c", "C", 9, 0, _SUM, True, "charge, integral of |i|"),
    Quantity(
        "arcing_charge_nc",
        "arcing_charge_c",
        "C",
        9,
        0,
        _SUM,
        True,
        "charge of the arcing half-cycles",
    ),
    Quantity("i2t_pa2s", "i2t_a2s", "A2s", 12, 0, _SUM, True, "integral of i squared"),
    Quantity(
        "arcing_i2t_pa2s",
        "arcing_i2t_a2s",
        "A2s",
        12,
        0,
        _SUM,
        True,
        "integral of i squared over arcing half-cycles",
    ),
    Quantity(
        "energy_uj",
        "energy_j",
        "J",
        6,
        -_SUM,
        _SUM,
        True,
        "integral of u times i, with a voltage reference",
    ),
    Quantity(
        "arcing_energy_uj",
        "arcing_energy_j",
        "J",
        6,
        -_SUM,
        _SUM,
        True,
        "integral of u times i over arcing half-cycles",
    ),
    Quantity("rh_cpct", "rh_pct", "%", 2, 0, 11_000, False, "relative humidity"),
    Quantity("air_cdegc", "air_c", "degC", 2, -9_000, 9_000, False, "air temperature"),
    Quantity("dew_point_cdegc", "dew_point_c", "degC", 2, -9_000, 9_000, False, "dew point"),
    Quantity("rain_um", "rain_mm", "mm", 3, 0, 1_000_000, True, "rain in the interval"),
    Quantity("wind_mm_s", "wind_m_s", "m/s", 3, 0, 120_000, False, "mean wind speed"),
    Quantity(
        "wind_from_cdeg",
        "wind_from_deg",
        "deg",
        2,
        0,
        36_000,
        False,
        "direction the wind comes from, clockwise from north",
    ),
    Quantity("uv_mw_m2", "uv_w_m2", "W/m2", 3, 0, 500_000, False, "ultraviolet irradiance"),
    Quantity("supply_mv", "supply_v", "V", 3, 0, 1_000_000, False, "supply of the pole computer"),
    Quantity(
        "enclosure_cdegc",
        "enclosure_c",
        "degC",
        2,
        -9_000,
        15_000,
        False,
        "temperature inside the enclosure",
    ),
)

BOTH_POLARITIES = (
    "charge_nc",
    "arcing_charge_nc",
    "i2t_pa2s",
    "arcing_i2t_pa2s",
    "energy_uj",
    "arcing_energy_uj",
)
"""Sums that records hold as (positive, negative)."""

BY_NAME: dict[str, Quantity] = {q.name: q for q in QUANTITIES}
BY_COLUMN: dict[str, Quantity] = {q.column: q for q in QUANTITIES}


def column_text(quantity: Quantity, units: int | None) -> str:
    """The decimal text of a column from the record's integer, exact; empty where None."""
    if units is None:
        return ""
    if quantity.decimals == 0:
        return str(units)
    whole, part = divmod(abs(units), 10**quantity.decimals)
    sign = "-" if units < 0 else ""
    return f"{sign}{whole}.{part:0{quantity.decimals}d}"


def from_column(quantity: Quantity, text: str) -> int:
    """The record's integer from a column's decimal text, rounded half to even.

    Raises ValueError, naming the column, where the text is no finite number or out of range.
    """
    from decimal import ROUND_HALF_EVEN, Decimal

    try:
        scaled = Decimal(text.strip()).scaleb(quantity.decimals)
        units = int(scaled.to_integral_value(ROUND_HALF_EVEN))
    except (ArithmeticError, ValueError) as fault:
        raise ValueError(f"{quantity.column} is {text!r}; it must be a decimal number") from fault
    if not quantity.low <= units <= quantity.high:
        low, high = column_text(quantity, quantity.low), column_text(quantity, quantity.high)
        raise ValueError(f"{quantity.column} is {text}; it must lie between {low} and {high}")
    return units
