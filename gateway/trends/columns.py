"""What the trends read: plain frozen columns, one set for each insulator, one for the weather.

Integers are those of `edge.quantities`; what can be absent is float64 with NaN where it could not
be said, or None where the whole column is unknown. Times are UTC microseconds, `end` is excluded.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from edge.decide.binding import Basis

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US


@dataclass(frozen=True, slots=True, eq=False)
class IntervalColumns:
    """Rows of one insulator, any length from a minute to an hour, in any order. Shape (rows,).

    rms_na, peak_ua, voltage_mv, in_phase_na: NaN where absent. state: code in `STATES`, or None.
    state_us: shape (rows, 6), cover in each state, or None. charge_nc, arcing_charge_nc, i2t_pa2s,
    arcing_i2t_pa2s, energy_uj: sums of both polarities, None where not measured. doubted: rows
    whose flags forbid using the current (sensor fault, missing, abnormal voltage, saturated).
    """

    start_us: Ints
    duration_us: Ints
    rms_na: Floats | None = None
    peak_ua: Floats | None = None
    in_phase_na: Floats | None = None
    voltage_mv: Floats | None = None
    halfcycles: Ints | None = None
    arcing_halfcycles: Ints | None = None
    state: npt.NDArray[np.int8] | None = None
    state_us: Ints | None = None
    charge_nc: Ints | None = None
    arcing_charge_nc: Ints | None = None
    i2t_pa2s: Ints | None = None
    arcing_i2t_pa2s: Ints | None = None
    energy_uj: Ints | None = None
    doubted: Bools | None = None

    def __post_init__(self) -> None:
        rows = self.start_us.shape[0]
        for name in self.__slots__:
            column = getattr(self, name)
            assert column is None or column.shape[0] == rows, f"{name} has not {rows} rows"


@dataclass(frozen=True, slots=True, eq=False)
class WeatherColumns:
    """Rows of the site's weather; NaN or None where not measured. Shape (rows,).

    rh_pct [%], air_c, dew_point_c [degC], rain_mm (in the row), wind_m_s, wind_from_deg (clockwise
    from north), uv_w_m2.
    """

    start_us: Ints
    duration_us: Ints
    rh_pct: Floats
    air_c: Floats | None = None
    dew_point_c: Floats | None = None
    rain_mm: Floats | None = None
    wind_m_s: Floats | None = None
    wind_from_deg: Floats | None = None
    uv_w_m2: Floats | None = None


class Action(StrEnum):
    """What people did; columns of the maintenance rows."""

    WASH = "wash"
    INSPECT = "inspect"
    RECOAT = "recoat"
    REPLACE = "replace"
    SENSOR = "sensor"
    OUTAGE = "outage"


@dataclass(frozen=True, slots=True)
class MaintenanceRow:
    """insulator: its id, or "" for the whole site."""

    insulator: str
    start_us: int
    action: Action
    note: str = ""


@dataclass(frozen=True, slots=True)
class Period:
    """A span of time, end excluded."""

    from_us: int
    to_us: int

    def __post_init__(self) -> None:
        assert self.from_us < self.to_us, "a period must end after it begins"


class SurfaceType(StrEnum):
    """What advice is allowed follows from it; UNKNOWN where the register does not say."""

    COMPOSITE = "composite"
    COATED_CERAMIC = "coated-ceramic"
    COATED_GLASS = "coated-glass"
    CERAMIC = "ceramic"
    GLASS = "glass"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class RegisterEntry:
    """type: of the surface. stress: free words; currents are compared within one type and stress.

    creepage_mm_kv: specific creepage distance on `creepage_basis`.
    """

    type: SurfaceType = SurfaceType.UNKNOWN
    stress: str = ""
    creepage_mm_kv: float | None = None
    creepage_basis: Basis | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """What people last saw on an insulator that matters for advice. damage: erosion or tracking
    that is not light; wettable: hydrophobicity of class 6 or 7. text: in words, with the date."""

    damage: bool = False
    wettable: bool = False
    text: str = ""


@dataclass(frozen=True, slots=True)
class SiteColumns:
    """All that is read of one site. coast_bearing_deg: direction to the sea from north."""

    site: str
    insulators: Mapping[str, IntervalColumns]
    coast_bearing_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Findings:
    """Reservations found on the way, each said once; in order of finding."""

    said: tuple[str, ...] = field(default_factory=tuple)

    def add(self, *more: str) -> Findings:
        """With what is new in `more`."""
        return Findings(tuple(dict.fromkeys((*self.said, *more))))


def actions_for(
    rows: Sequence[MaintenanceRow], insulator: str, *wanted: Action
) -> tuple[MaintenanceRow, ...]:
    """Rows of these kinds that concern this insulator, in order of time."""
    fitting = (one for one in rows if one.insulator in ("", insulator) and one.action in wanted)
    return tuple(sorted(fitting, key=lambda one: one.start_us))
