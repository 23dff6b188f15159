"""The dry-band arc: u = A x i^-n across the arc, in series with what is left of the wet film.

The form of the law is read (O'Reilly/Elsevier book on line monitoring, chapter 5, eq. 5.31); A and
n are as recalled and spread widely between authors (63 and 0.5; 63 and 0.76; 138 to 140 and 0.67 to
0.69; V, cm, A), so both are settable.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ArcLaw:
    """Constants of u = A x i^-n in V, cm, A."""

    a: float = 63.0
    n: float = 0.5


RECALLED_LAW = ArcLaw()

CURVE_STEPS = 4_096
CURVE_REACH = 40.0
"""The table goes to u / u_least = 1 + 40^2; beyond, the current is held (a shorted film)."""


def least_current_a(law: ArcLaw, band_cm: Floats, rest_ohm: Floats) -> Floats:
    """Current [A] at which arc and film together need the least voltage; below it no arc lives."""
    return np.asarray((law.n * law.a * band_cm / rest_ohm) ** (1.0 / (law.n + 1.0)))


def least_voltage_v(law: ArcLaw, band_cm: Floats, rest_ohm: Floats) -> Floats:
    """The least voltage [V] that keeps an arc of this length alive over this film."""
    current = least_current_a(law, band_cm, rest_ohm)
    return np.asarray((1.0 + 1.0 / law.n) * rest_ohm * current)


@dataclass(frozen=True, slots=True, eq=False)
class ArcCurve:
    """Root of (y^-n + n y) / (1 + n) = 1 + s^2 on the burning branch, y >= 1, at even steps of s.

    y is the current against the least current; 1 + s^2 the voltage against the least voltage. One
    curve serves every arc of one law.
    """

    law: ArcLaw
    ratios: Floats

    def ratio(self, excess_root: Floats) -> Floats:
        """y at s = `excess_root` >= 0, by straight lines in the table; any shape."""
        place = np.minimum(excess_root * (CURVE_STEPS / CURVE_REACH), CURVE_STEPS - 1e-6)
        low = place.astype(np.intp)
        below = self.ratios[low]
        return np.asarray(below + (place - low) * (self.ratios[low + 1] - below))


def arc_curve(law: ArcLaw) -> ArcCurve:
    """Tabulates the burning branch by Newton steps from the far side (they converge from above)."""
    excess = np.linspace(0.0, CURVE_REACH, CURVE_STEPS + 1) ** 2
    target = (1.0 + law.n) * (1.0 + excess)
    ratio = 1.0 + target / law.n
    for _ in range(60):
        slope = law.n * (1.0 - ratio ** (-law.n - 1.0))
        step = (ratio**-law.n + law.n * ratio - target) / np.maximum(slope, 1e-9)
        ratio = np.maximum(ratio - step, 1.0)
    return ArcCurve(law, ratio)
