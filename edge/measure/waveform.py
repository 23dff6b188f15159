"""Columns that describe the waveform of a window: r.m.s., harmonics, angle against the voltage."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.measure.beside import Beside
from edge.measure.harmonics import Harmonics, harmonics, spectrum
from edge.measure.placing import Placement
from edge.measure.plan import MeasureLimits
from edge.measure.sums import Sums
from edge.measure.windows import ABSENT, quantised

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Complexes = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]

NA = 1e6
"""Nanoamperes in a milliampere."""

THIRD_RATIO_MIN = 1e-4
"""Below this ratio the third harmonic has no phase and no fifth to compare with."""

VOLTAGE_ORDERS = np.arange(2, 14)
"""Orders that count towards the distortion of the reference."""


@dataclass(frozen=True, slots=True, eq=False)
class Spectral:
    """Lines of whole windows; None where windows are short or there is no voltage.

    voltage_line: complex r.m.s. of the voltage's fundamental [kV]; voltage_thd: its distortion.
    """

    lines: Harmonics | None
    voltage_line: Complexes | None
    voltage_thd: Floats | None


def spectral(
    current: Floats, voltages: Floats | None, voltage_row: Integers, placed: Placement
) -> Spectral:
    """Lines of currents and of their voltages on the mains clock; voltage_row: whose is which."""
    if placed.cycles == 0:
        return Spectral(None, None, None)
    lines = harmonics(current, placed.cycles, placed.rate_hz, placed.nominal_hz)
    if voltages is None:
        return Spectral(lines, None, None)
    volts = spectrum(voltages)
    line = volts[:, placed.cycles]
    size = np.abs(volts[:, VOLTAGE_ORDERS * placed.cycles])
    with np.errstate(divide="ignore", invalid="ignore"):
        thd = np.sqrt(np.add.reduce(np.square(size), axis=1)) / np.abs(line)
    return Spectral(lines, line[voltage_row], thd[voltage_row])


def energised(found: Spectral, level_kv: Floats, limits: MeasureLimits) -> Bools:
    """Whether the line carries voltage; assumed where nothing says otherwise.

    level_kv: r.m.s. of each window's voltage in service.
    """
    if found.voltage_line is None:
        return np.ones(len(level_kv), np.bool_)
    size = np.abs(found.voltage_line)
    return np.asarray((size > limits.de_energised_ratio * level_kv) | ~np.isfinite(size), np.bool_)


def waveform_columns(
    placed: Placement,
    sums: Sums,
    pieces: Beside,
    found: Spectral,
    on: Bools,
    known: Bools,
    lost: Bools,
) -> dict[str, Integers]:
    """Columns by name; ABSENT where a window is short, lost or without voltage.

    on: the line is energised; known: there is a mains frequency.
    """
    columns = {
        **_whole_cover(placed, sums, pieces, lost),
        "frequency_millihz": _frequency(placed, known),
        "voltage_mv": _voltage(found, len(lost)),
    }
    if found.lines is None:
        absent = np.full(len(lost), ABSENT, np.int64)
        return columns | {name: absent for name, _ in _HARMONIC_COLUMNS}
    turned = _against_voltage(found, on)
    told = (*_told(found.lines), turned.real, turned.imag)
    for (name, units), one in zip(_HARMONIC_COLUMNS, told, strict=True):
        columns[name] = quantised(np.where(lost, np.nan, one), units)
    return columns


_HARMONIC_COLUMNS = (
    ("h1_na", NA),
    ("h2_ppm", 1e6),
    ("h3_ppm", 1e6),
    ("h5_ppm", 1e6),
    ("thd_ppm", 1e6),
    ("h5_h3_ppm", 1e6),
    ("h3_cdeg", 1e2),
    ("in_phase_na", NA),
    ("quadrature_na", NA),
)


def _told(lines: Harmonics) -> tuple[Floats, ...]:
    third = lines.h3_ratio > THIRD_RATIO_MIN
    with np.errstate(divide="ignore", invalid="ignore"):
        h5_h3 = np.where(third, lines.h5_ratio / lines.h3_ratio, np.nan)
    h3_deg = np.where(third, np.degrees(lines.h3_rad), np.nan)
    return lines.h1, lines.h2_ratio, lines.h3_ratio, lines.h5_ratio, lines.thd, h5_h3, h3_deg


def _whole_cover(placed: Placement, sums: Sums, pieces: Beside, lost: Bools) -> dict[str, Integers]:
    """R.m.s. and mean over the true cover, pieces beside included."""
    rounding = np.abs(pieces.seconds) * placed.rate_hz <= 1.0
    seconds = (placed.ends - placed.starts) / placed.rate_hz
    seconds = seconds + np.where(rounding, 0.0, pieces.seconds)
    seconds = np.where(~lost & (seconds > 0), seconds, np.nan)
    square = np.add.reduce(sums.square, axis=1) + np.add.reduce(pieces.square, axis=1)
    signed = np.add.reduce(sums.signed_charge, axis=1) + pieces.charge[:, 0] - pieces.charge[:, 1]
    return {
        "rms_na": quantised(np.sqrt(square / seconds), NA),
        "mean_na": quantised(signed / seconds, NA),
    }


def _against_voltage(found: Spectral, on: Bools) -> Complexes:
    """R.m.s. fundamental turned against the voltage, leading positive; NaN without voltage."""
    lines, volts = found.lines, found.voltage_line
    nothing = np.full(len(on), np.nan + 1j * np.nan)
    if lines is None or volts is None:
        return nothing
    strong = (np.abs(volts) > 0) & on
    unit = np.where(strong, volts, 1.0)
    return np.where(strong, lines.line1 * np.conj(unit) / np.abs(unit), nothing)


def _frequency(placed: Placement, known: Bools) -> Integers:
    if placed.halves == 0:
        return np.full(len(known), ABSENT, np.int64)
    hz = placed.rate_hz * placed.halves / 2 / (placed.ends - placed.starts)
    return quantised(np.where(known, hz, np.nan), 1e3)


def _voltage(found: Spectral, count: int) -> Integers:
    if found.voltage_line is None:
        return np.full(count, ABSENT, np.int64)
    return quantised(np.abs(found.voltage_line), 1e6)
