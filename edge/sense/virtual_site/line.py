"""The line: arcs that run away, a flashover, the trip that follows, and the line put back.

Arcs lengthen when the film feeds them enough to re-ignite: the critical voltage follows from
re-ignition, U = K x i^-1/2 (Claverie's form, constant as recalled), in series with the film over
what is left of the path (Obenaus' construction; the closed form is computed).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from edge.sense.virtual_site.plan import PHASES, SitePlan

Floats = npt.NDArray[np.float64]

CRITICAL_REACH = 2.0 / 3.0
"""Share of the path at which nothing holds the arc any more: 1 / (n + 1) for n = 1/2 (computed)."""
RUNAWAY_SPREAD = 0.06
"""Scatter (log) of the critical voltage from second to second (design choice)."""
LENGTHENING_HALF_CYCLES = (22.0, 70.0)
"""Half-cycles in which a runaway arc grows e-fold (design choice)."""
FAULT_FULL_SCALES = 5.0
"""Crest of the fault current behind the sensor's clamp, in full scales (design choice): the fault
itself is far beyond any sensor's range."""
FLASHED_VOLTAGE = 0.04
"""Voltage left on the flashed phase against normal (design choice)."""


@dataclass(frozen=True, slots=True)
class Line:
    """Whether the line is alive. flashed: row of the flashed insulator, -1: none. Times in seconds
    since the start; infinity where it has not happened and is not due."""

    flashed: int = -1
    flash_s: float = math.inf
    trip_s: float = math.inf
    back_s: float = math.inf

    def dead(self, from_s: float, to_s: float) -> bool:
        """De-energised throughout."""
        return self.trip_s <= from_s and to_s <= self.back_s

    def untouched(self, to_s: float) -> bool:
        """Energised and sound up to then."""
        return self.flash_s > to_s


@dataclass(frozen=True, slots=True, eq=False)
class Runaway:
    """Arcs that lengthen: shape (insulators,) each. arc_cm: length now, 0: none runs away.
    slowness: half-cycles for an e-fold growth."""

    arc_cm: Floats
    slowness: Floats


def no_runaway(count: int) -> Runaway:
    """No arc lengthens."""
    return Runaway(np.zeros(count), np.full(count, math.inf))


def critical_voltage_v(reignition_v: Floats, rest_ohm: Floats, creepage_cm: Floats) -> Floats:
    """Crest voltage [V] above which a re-igniting arc bridges the path."""
    return np.asarray(
        reignition_v ** (2.0 / 3.0) * (rest_ohm / creepage_cm) ** (1.0 / 3.0) * creepage_cm
    )


def run_on(
    runaway: Runaway,
    band_cm: Floats,
    crest_v: Floats,
    critical_v: Floats,
    burned: Floats,
    rng: np.random.Generator,
) -> Runaway:
    """Which arcs lengthen in the coming second.

    A new one needs the critical voltage passed and most half-cycles of the last second burning
    (`burned`, share); one under way goes on until the voltage falls clearly below.
    """
    scatter = np.exp(RUNAWAY_SPREAD * rng.standard_normal(band_cm.shape[0]))
    drawn = rng.uniform(*LENGTHENING_HALF_CYCLES, band_cm.shape[0])
    under_way = runaway.arc_cm > 0.0
    begins = ~under_way & (crest_v > critical_v * scatter) & (burned > 0.6)
    goes_on = under_way & (crest_v > 0.85 * critical_v)
    return Runaway(
        arc_cm=np.where(goes_on, runaway.arc_cm, np.where(begins, band_cm, 0.0)),
        slowness=np.where(goes_on, runaway.slowness, np.where(begins, drawn, math.inf)),
    )


def arc_lengths(runaway: Runaway, band_cm: Floats, most: int) -> Floats:
    """Arc length [cm] in each half-cycle of the second; shape (insulators, most)."""
    start = np.where(runaway.arc_cm > 0.0, runaway.arc_cm, band_cm)
    return np.asarray(start[:, None] * np.exp(np.arange(most) / runaway.slowness[:, None]))


def flashed(
    line: Line,
    plan: SitePlan,
    creepage_cm: Floats,
    arc_cm: Floats,
    zero_s: Floats,
    rng: np.random.Generator,
) -> Line:
    """The line after the first arc that reaches the critical length, flashing at that crest.

    zero_s: time of each half-cycle's voltage zero, shape (insulators, most).
    """
    over = arc_cm >= CRITICAL_REACH * creepage_cm[:, None]
    if not over.any():
        return line
    times = np.where(over, zero_s, math.inf)
    row, column = np.unravel_index(int(np.argmin(times)), times.shape)
    flash_s = float(times[row, column]) + 0.25 / plan.nominal_hz
    trip_s = flash_s + float(rng.uniform(*plan.trip_delay_s))
    back_s = math.inf if plan.reclose_s is None else trip_s + plan.reclose_s
    return Line(int(row), flash_s, trip_s, back_s)


def put_back(line: Line, now_s: float) -> Line:
    """A sound line again once it has been reclosed."""
    return Line() if line.back_s <= now_s else replace(line)


def voltage_shares(line: Line, plan: SitePlan, times_s: Floats) -> Floats:
    """Voltage of each phase against its normal course; shape (phases, samples)."""
    alive = (times_s < line.trip_s) | (times_s >= line.back_s)
    shares = np.repeat(alive[None].astype(float), len(PHASES), axis=0)
    if line.flashed >= 0:
        phase = PHASES.index(plan.insulators[line.flashed].phase)
        down = (times_s >= line.flash_s) & (times_s < line.trip_s)
        shares[phase, down] = FLASHED_VOLTAGE
    return shares
