"""The supply: frequency, drift, distortion, and what happens to the voltage of one phase.

Everything is computed on an inner time grid, a whole multiple of the sampling rate, so that an
ignition falls between samples and the sensor's low-pass works on a wave that has steps in it.
The voltage is in units of its crest of normal service.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, pi

import numpy as np
import numpy.typing as npt

from tests.families.labelled import Floats

INNER_RATE_HZ_MIN = 25_000.0
"""The inner grid is at least this dense, and at least twice the sampling rate."""

LEAD_IN_S = 0.25
"""Signal before the first sample; lets the sensor's filters settle."""

OFF_NOMINAL_HZ = 1.0
"""Frequency stays within this of nominal, drift included."""

DISTORTION_ORDERS = (3, 5, 7, 11, 13)

Complexes = npt.NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Harmonic:
    """One harmonic of the phase voltage: order, amplitude to the crest, phase [rad]."""

    order: int
    amplitude: float
    phase: float


@dataclass(frozen=True, slots=True, eq=False)
class Mains:
    """One phase of the supply on the inner grid.

    step: inner samples for one sample; lead: inner samples before sample 0; count: samples.
    turn: exp(j theta) of the fundamental. voltage: u / crest. rotation: complex factor of the
    phase-to-earth voltage against normal service (an earth fault raises and turns it, a trip ends
    it), one number or one per inner sample. boundaries: theta at multiples of pi [samples], the
    first and the last outside of the recording. first_sign: polarity of the first half-cycle.
    """

    rate_hz: float
    nominal_hz: float
    step: int
    lead: int
    count: int
    turn: Complexes
    voltage: Floats
    rotation: complex | Complexes
    harmonics: tuple[Harmonic, ...]
    boundaries: Floats
    first_sign: int

    @property
    def inner_hz(self) -> float:
        """Rate of the inner grid [Hz]."""
        return self.rate_hz * self.step

    @property
    def seconds(self) -> Floats:
        """Time of each inner sample from sample 0 [s]."""
        return (np.arange(len(self.voltage)) - self.lead) / self.inner_hz

    @property
    def signs(self) -> npt.NDArray[np.int8]:
        """Polarity of the voltage in each half-cycle."""
        turns = np.arange(len(self.boundaries) - 1)
        return np.where(turns % 2 == 0, self.first_sign, -self.first_sign).astype(np.int8)


def distortion(
    rng: np.random.Generator, total: float, orders: tuple[int, ...] = DISTORTION_ORDERS
) -> tuple[Harmonic, ...]:
    """Harmonics of random phase whose r.s.s. is `total` of the fundamental, low orders stronger."""
    weight = rng.uniform(0.2, 1.0, len(orders)) / np.sqrt(np.array(orders, dtype=float))
    weight *= total / np.sqrt(np.sum(weight**2))
    return tuple(
        Harmonic(order, float(amplitude), float(rng.uniform(-pi, pi)))
        for order, amplitude in zip(orders, weight, strict=True)
    )


def inner_step(rate_hz: float) -> int:
    """Inner samples for one sample."""
    return max(2, ceil(INNER_RATE_HZ_MIN / rate_hz))


def _angle(rng: np.random.Generator, nominal_hz: float, drift_hz: float, seconds: Floats) -> Floats:
    """theta(t) of a frequency that swings slowly about a random value within the limit."""
    middle_hz = nominal_hz + rng.uniform(-1, 1) * (OFF_NOMINAL_HZ - drift_hz)
    period_s, phase = rng.uniform(6.0, 40.0), rng.uniform(-pi, pi)
    swing = 2 * pi / period_s
    slow = drift_hz / swing * (np.cos(phase) - np.cos(swing * seconds + phase))
    angle: Floats = 2 * pi * (middle_hz * seconds + slow) + rng.uniform(-pi, pi)
    return angle


def _boundaries(angle: Floats, step: int, lead: int) -> tuple[Floats, int]:
    """Positions [samples] of the multiples of pi, and the sign of the first half-cycle.

    Reads every 16th point of the angle; it bends by less than 1e-6 rad between two of them.
    """
    coarse = angle[::16]
    turns = np.arange(ceil(coarse[0] / pi), int(coarse[-1] // pi) + 1)
    position = (np.interp(turns * pi, coarse, np.arange(len(coarse)) * 16.0) - lead) / step
    count = (len(angle) - lead) / step
    keep = slice(
        max(int(np.searchsorted(position, 0.0, "right")) - 1, 0),
        int(np.searchsorted(position, count - LEAD_OUT_SAMPLES)) + 1,
    )
    return position[keep], 1 if turns[keep.start] % 2 == 0 else -1


LEAD_OUT_SAMPLES = 600
"""Samples made beyond the end, so that the last half-cycle is whole before it is cut."""


def make_mains(
    rng: np.random.Generator,
    rate_hz: float,
    nominal_hz: float,
    seconds: float,
    harmonics: tuple[Harmonic, ...],
    drift_hz: float = 0.0,
) -> Mains:
    """A supply of undisturbed amplitude; see `turned` for what may happen to it."""
    step, count = inner_step(rate_hz), round(seconds * rate_hz)
    lead = round(LEAD_IN_S * rate_hz) * step
    time_s = (np.arange(lead + (count + LEAD_OUT_SAMPLES) * step) - lead) / (rate_hz * step)
    angle = _angle(rng, nominal_hz, drift_hz, time_s)
    boundaries, sign = _boundaries(angle, step, lead)
    turn = np.empty(len(angle), dtype=np.complex128)
    turn.real, turn.imag = np.cos(angle), np.sin(angle)
    voltage = turn.imag + harmonic_sum(turn, harmonics)
    return Mains(
        rate_hz, nominal_hz, step, lead, count, turn, voltage, 1.0, harmonics, boundaries, sign
    )


CHUNK = 1 << 14
"""Points that are summed at a time; they stay in the processor's cache."""


def harmonic_sum(turn: Complexes, harmonics: tuple[Harmonic, ...]) -> Floats:
    """Sum of amplitude * sin(order * theta + phase) over odd orders, a polynomial of turn^2."""
    total = np.zeros(len(turn))
    if not harmonics:
        return total
    assert all(h.order % 2 == 1 for h in harmonics)
    factors = [0j] * (max(h.order for h in harmonics) // 2 + 1)
    for h in harmonics:
        factors[h.order // 2] += h.amplitude * np.exp(1j * h.phase)
    for first in range(0, len(turn), CHUNK):
        part = turn[first : first + CHUNK]
        squared = part * part
        power = np.full(len(part), factors[-1])
        for factor in factors[-2::-1]:
            power *= squared
            power += factor
        power *= part
        total[first : first + CHUNK] = power.imag
    return total


def turned(mains: Mains, rotation: Complexes) -> Mains:
    """The same supply whose phase-to-earth voltage is multiplied by a slowly varying phasor."""
    from dataclasses import replace

    wave = mains.turn * rotation
    harmonics = harmonic_sum(mains.turn, mains.harmonics) * np.abs(rotation)
    return replace(mains, voltage=wave.imag + harmonics, rotation=rotation)
