"""The mains of a virtual site: a phase angle that drifts, and the conductors' distorted voltage."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.sense.virtual_site.plan import PHASES, SitePlan

Floats = npt.NDArray[np.float64]

TURN = 2.0 * math.pi
TURNS_AT_ONCE = 64
DRIFT_PERIODS_S = (37.0, 211.0, 1_117.0)
"""Periods of the slow frequency swings; no common divisor, so the pattern does not repeat."""


@dataclass(frozen=True, slots=True)
class Mains:
    """Frequency f(t) = nominal + sum of swings; angle(t) is its exact integral."""

    nominal_hz: float
    swings_hz: tuple[float, ...]
    starts_rad: tuple[float, ...]

    def angle(self, time_s: float) -> float:
        """Angle of phase A's fundamental, as a sine [rad], at `time_s` after the start."""
        angle = TURN * self.nominal_hz * time_s
        for period_s, swing_hz, start in zip(
            DRIFT_PERIODS_S, self.swings_hz, self.starts_rad, strict=True
        ):
            turn = TURN * time_s / period_s
            angle += swing_hz * period_s * (math.cos(start) - math.cos(turn + start))
        return angle


def mains_of(plan: SitePlan, rng: np.random.Generator) -> Mains:
    """The mains of one seed."""
    share = plan.frequency_wander_hz / math.sqrt(len(DRIFT_PERIODS_S))
    swings = share * rng.uniform(0.3, 1.3, len(DRIFT_PERIODS_S))
    starts = rng.uniform(0.0, TURN, len(DRIFT_PERIODS_S))
    return Mains(plan.nominal_hz, tuple(swings.tolist()), tuple(starts.tolist()))


def lag_rad(phase: str) -> float:
    """How far a phase lags phase A [rad]."""
    return TURN / 3.0 * PHASES.index(phase)


def basis(start_rad: float, step_rad: float, samples: int, orders: tuple[int, ...]) -> Floats:
    """Rows cos(h a), sin(h a) of evenly spaced angles a for each order h, lowest first.

    Shape (2 * orders, samples). The unit phasors are the product of coarse and fine turns, so few
    of them cost an exponential.
    """
    coarse = np.exp(
        1j * (start_rad + step_rad * TURNS_AT_ONCE * np.arange(samples // TURNS_AT_ONCE + 1))
    )
    fine = np.exp(1j * step_rad * np.arange(TURNS_AT_ONCE))
    turns = np.multiply.outer(coarse, fine).ravel()[:samples]
    double = turns * turns
    rows = np.empty((2 * len(orders), samples))
    power, reached = turns, 1
    for row, order in enumerate(orders):
        while reached < order:
            power, reached = (
                (power * double, reached + 2) if reached + 2 <= order else (power * turns, order)
            )
        rows[2 * row], rows[2 * row + 1] = power.real, power.imag
    return rows


def orders_of(plan: SitePlan) -> tuple[int, ...]:
    """Harmonic orders of the conductor voltage, the fundamental first."""
    return (1, *(order for order, _, _ in plan.harmonics))


def voltage_weights(plan: SitePlan) -> Floats:
    """Voltage [V] of each phase is these weights times the basis; shape (phases, 2 * orders)."""
    weights = np.zeros((len(PHASES), 2 * (1 + len(plan.harmonics))))
    terms = ((1, 1.0, 0.0), *plan.harmonics)
    for row, phase in enumerate(PHASES):
        for column, (order, share, start) in enumerate(terms):
            shift = start - order * lag_rad(phase)
            weights[row, 2 * column] = plan.crest_v * share * math.sin(shift)
            weights[row, 2 * column + 1] = plan.crest_v * share * math.cos(shift)
    return weights


def slope_weights(plan: SitePlan) -> Floats:
    """Time derivative of the voltages [V/s] on the same basis, at nominal frequency."""
    volts = voltage_weights(plan)
    slopes = np.empty_like(volts)
    for column, order in enumerate(orders_of(plan)):
        speed = TURN * plan.nominal_hz * order
        slopes[:, 2 * column] = speed * volts[:, 2 * column + 1]
        slopes[:, 2 * column + 1] = -speed * volts[:, 2 * column]
    return slopes


def capacitive_weights(plan: SitePlan) -> Floats:
    """Capacitive current [A] of each insulator on the basis: own conductor and both neighbours."""
    slopes = slope_weights(plan)
    weights = np.empty((len(plan.insulators), slopes.shape[1]))
    for row, insulator in enumerate(plan.insulators):
        own = PHASES.index(insulator.phase)
        after, before = insulator.neighbour_pf
        weights[row] = 1e-12 * (
            insulator.own_pf * slopes[own]
            + after * slopes[(own + 1) % 3]
            + before * slopes[(own + 2) % 3]
        )
    return weights
