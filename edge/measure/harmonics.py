"""Harmonics of whole windows by subgroups on the mains clock (IEC 61000-4-7, as recalled).

A window holds 10 cycles at 50 Hz, 12 at 60 Hz: lines 5 Hz apart. A subgroup is the root of the sum
of squares of a harmonic's line and its two neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

ORDER_MAX = 40
ORDER_RATE_RATIO_MAX = 0.45
"""Orders above this share of the sampling rate are left out of the distortion."""

FUNDAMENTAL_MA_MIN = 1e-3
"""Below this r.m.s. fundamental no ratio is given."""


@dataclass(frozen=True, slots=True, eq=False)
class Harmonics:
    """Per window: r.m.s. of the fundamental's subgroup, ratios, phase of the third, lines.

    Arrays of shape (n,); ratios are NaN where there is no fundamental. h3_rad: phase of the third
    minus three times the fundamental's, both as sines. line1: complex r.m.s. of the fundamental
    line, phase of sin(w t) at the window's start is 0. spectrum: r.m.s. lines, shape (n, lines).
    """

    h1: Floats
    h2_ratio: Floats
    h3_ratio: Floats
    h5_ratio: Floats
    thd: Floats
    h3_rad: Floats
    line1: Complexes
    spectrum: Complexes


def spectrum(windows: Floats) -> Complexes:
    """R.m.s. lines of real windows, shape (n, points) -> (n, points // 2 + 1); sin has phase 0."""
    lines = np.fft.rfft(windows, axis=-1) * (1j * np.sqrt(2.0) / windows.shape[-1])
    lines[:, 0] *= -1j / np.sqrt(2.0)
    return np.asarray(lines, np.complex128)


def harmonics(windows: Floats, cycles: int, rate_hz: float, mains_hz: float) -> Harmonics:
    """Harmonics of windows [mA], shape (n, points), each of `cycles` whole mains cycles."""
    lines = spectrum(windows)
    order_max = min(ORDER_MAX, int(ORDER_RATE_RATIO_MAX * rate_hz / mains_hz))
    power = np.square(np.abs(lines[:, : order_max * cycles + 2]))
    at = np.arange(1, order_max + 1) * cycles
    groups = power[:, at - 1] + power[:, at] + power[:, at + 1]
    h1 = np.sqrt(groups[:, 0])
    with np.errstate(divide="ignore", invalid="ignore"):
        ratios = np.sqrt(groups) / np.where(h1 >= FUNDAMENTAL_MA_MIN, h1, np.nan)[:, None]
    thd = np.sqrt(np.add.reduce(np.square(ratios[:, 1:]), axis=1))
    line1, line3 = lines[:, cycles], lines[:, 3 * cycles]
    h3_rad = np.angle(line3 * np.conj(line1) ** 3)
    return Harmonics(h1, ratios[:, 1], ratios[:, 2], ratios[:, 4], thd, h3_rad, line1, lines)
