"""Time, phase and voltage: the stage on which currents are drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.families.labelled import Floats
from tests.fourth_physics.setting import Setting

FINE_HZ = 36_000
"""Currents are drawn at a multiple of the sampling rate that is at least this (design choice)."""

WANDER_TURNS_HZ = 0.15
"""The frequency drifts to and fro so often a second: at most 0.95 Hz/s (design choice)."""

PREROLL_CYCLES = 3
"""Drawn before the recording and thrown away, so that the sensor has settled."""

ORDERS = (3, 5, 7, 11, 13)
SPREAD = (1.0, 1.0, 0.7, 0.4, 0.3)
"""Typical weights of the supply's harmonics (design choice)."""


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """Fine samples, `factor` to one of the recording, `preroll` of them before its first.

    t_s: from the recording's start. theta: phase of the fundamental [rad], falling zeros at odd
    multiples of pi. half: number of the half-cycle of each fine sample, from 0; phi: phase within
    it, 0 to pi; sign: of its voltage. halves: how many. volts: voltage [kV] with all that is on
    it. pure: its fundamental. omega: mean angular frequency [rad/s]. edges_s: its `halves` + 1
    zeros [s], the outermost two beyond what is drawn.
    """

    setting: Setting
    factor: int
    preroll: int
    t_s: Floats
    theta: Floats
    half: npt.NDArray[np.int64]
    phi: Floats
    sign: Floats
    halves: int
    volts: Floats
    pure: Floats
    omega: float
    edges_s: Floats

    @property
    def fine_hz(self) -> float:
        """Fine samples a second."""
        return self.setting.rate_hz * self.factor

    @property
    def upright(self) -> Floats:
        """The voltage against its half-cycle's sign, never negative [kV]."""
        return np.maximum(self.volts * self.sign, 0)

    def by_half(self, of: Floats) -> Floats:
        """Sum of fine samples in each half-cycle."""
        return np.bincount(self.half, of, self.halves)

    def crest_by_half(self, of: Floats) -> Floats:
        """Largest |of| in each half-cycle."""
        first = np.searchsorted(self.half, np.arange(self.halves))
        return np.maximum.reduceat(np.abs(of), first)


def drawn_stage(setting: Setting, rng: np.random.Generator) -> Stage:
    """Phase, half-cycles and voltage of a setting."""
    factor = int(np.ceil(FINE_HZ / setting.rate_hz))
    fine = setting.rate_hz * factor
    preroll = round(PREROLL_CYCLES * setting.rate_hz / setting.nominal_hz) * factor
    count = round(setting.seconds * setting.rate_hz) * factor + preroll
    t_s = (np.arange(count) - preroll) / fine
    omega = 2 * np.pi * (setting.nominal_hz + setting.offset_hz)
    slow = 2 * np.pi * WANDER_TURNS_HZ
    theta = omega * t_s + rng.uniform(20, 20 + 2 * np.pi) + 12 * np.pi
    theta += 2 * np.pi * setting.wander_hz / slow * np.sin(slow * t_s + rng.uniform(0, 6))
    swollen = np.clip((t_s - setting.swell_at * setting.seconds) * setting.nominal_hz, 0, 1)
    theta += setting.swing_rad * swollen
    number = np.floor(theta / np.pi).astype(np.int64)
    first, last = int(number[0]), int(number[-1])
    living = t_s < setting.trip_at * setting.seconds
    size = setting.crest_kv * (1 + (setting.swell - 1) * swollen) * living
    pure = size * np.sin(theta)
    volts = pure + size * _rest(setting, theta, t_s, rng)
    sign = np.where(number % 2 == 0, 1.0, -1.0)
    zeros = np.arange(first, last + 2) * np.pi
    edges = np.interp(zeros, theta, t_s)
    edges[0] = t_s[0] - (theta[0] - zeros[0]) / omega
    edges[-1] = t_s[-1] + (zeros[-1] - theta[-1]) / omega
    return Stage(
        setting,
        factor,
        preroll,
        t_s,
        theta,
        number - first,
        theta - number * np.pi,
        sign,
        last - first + 1,
        volts,
        pure,
        omega,
        edges,
    )


def harmonics(share: float, theta: Floats, rng: np.random.Generator) -> Floats:
    """Orders 3 to 13 of any phase whose r.m.s. is `share` of a unit sine's."""
    weights = rng.exponential(SPREAD)
    weights *= share / np.sqrt(np.sum(weights**2))
    shifts = rng.uniform(0, 2 * np.pi, len(ORDERS))
    if share == 0:
        return np.zeros(len(theta))
    parts = zip(weights, ORDERS, shifts, strict=True)
    return sum((w * np.sin(n * theta + s) for w, n, s in parts), np.zeros(len(theta)))


def _rest(setting: Setting, theta: Floats, t_s: Floats, rng: np.random.Generator) -> Floats:
    """All that is on the voltage beside its fundamental, to the crest."""
    rest = harmonics(setting.distortion, theta, rng)
    sine = np.sin(theta)
    if setting.flat:
        top = 1 - setting.flat
        rest += np.clip(sine, -top, top) - sine
    if setting.notch:
        # six commutations a cycle, each some 0.3 ms wide
        place = np.mod(theta + rng.uniform(0, 1), np.pi / 3)
        hit = np.exp(-(((place - 0.5) / 0.05) ** 2))
        rest -= setting.notch * hit * sine
    if setting.tone:
        keyed = np.mod(t_s + rng.uniform(0, 1), 0.7) < 0.4
        rest += setting.tone * keyed * np.sin(2 * np.pi * setting.tone_hz * t_s)
    if setting.inrush:
        fading = np.exp(-np.maximum(t_s - 0.3, 0) / 0.4) * (t_s > 0.3)
        rest += setting.inrush * fading * (np.sin(2 * theta) + 0.6 * np.sin(3 * theta + 1))
    for _ in range(setting.strokes):
        after = np.maximum(t_s - rng.uniform(0, setting.seconds), 0)
        ringing = np.sin(2 * np.pi * rng.uniform(300, 2000) * after)
        rest += rng.uniform(0.1, 0.8) * ringing * np.exp(-after / rng.uniform(5e-4, 4e-3))
    return rest
