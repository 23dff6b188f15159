"""Currents of a surface without arcs: films, the bare capacity, an arrester beside it."""

from __future__ import annotations

import numpy as np

from tests.families.labelled import Floats
from tests.fourth_physics.stage import Stage

SECTIONS = 5
"""Of the ladder: film sections in series, each drying and wetting by itself."""


def walk(stage: Stage, sigma: float, tau_s: float, rng: np.random.Generator) -> Floats:
    """Conductance of the ladder over time, to its mean; sigma: spread of a section's logarithm.

    Each section's logarithm is a random walk drawn back to zero within tau_s, one step a
    half-cycle, straight lines between (design choice).
    """
    steps = rng.normal(size=(stage.halves + 1, SECTIONS))
    keep = float(np.exp(-np.pi / stage.omega / tau_s))
    level = np.empty_like(steps)
    level[0] = steps[0]
    for at in range(1, len(steps)):
        level[at] = keep * level[at - 1] + np.sqrt(1 - keep**2) * steps[at]
    whole = SECTIONS / np.sum(np.exp(-sigma * level), axis=1)
    return np.interp(stage.t_s, stage.edges_s, whole / whole.mean())


def ohmic(stage: Stage, crest_ma: float, over_time: Floats | float = 1.0) -> Floats:
    """A film that follows the voltage [mA]; crest_ma at the nominal crest."""
    return crest_ma / stage.setting.crest_kv * stage.volts * over_time


def heated(stage: Stage, crest_ma: float, gain: float, tau_s: float) -> Floats:
    """A film whose conductance follows its temperature within the half-cycle [mA].

    Steady state of dT/dt = sin^2 - T/tau: 1 - cos(2 theta - psi) / sqrt(1 + (2 omega tau)^2), to
    its mean, tan psi = 2 omega tau. gain: relative rise of conductance at twice the mean.
    """
    turn = 2 * stage.omega * tau_s
    ripple = -np.cos(2 * stage.theta - np.arctan(turn)) / np.hypot(1, turn)
    return ohmic(stage, crest_ma, 1 + gain * ripple)


def semiconducting(stage: Stage, crest_ma: float, cubic: float) -> Floats:
    """i = g u (1 + cubic (u / crest)^2) [mA], scaled to crest_ma at the crest."""
    unit = stage.volts / stage.setting.crest_kv
    return crest_ma / (1 + cubic) * unit * (1 + cubic * unit**2)


def arrester(stage: Stage, crest_ma: float, power: float) -> Floats:
    """Peaky resistive current of a metal-oxide block [mA]."""
    unit = stage.volts / stage.setting.crest_kv
    return crest_ma * np.sign(unit) * np.abs(unit) ** power


def capacitive(stage: Stage, rms_ma: float) -> Floats:
    """C du/dt [mA], its fundamental of rms_ma at the nominal crest."""
    slope = np.gradient(stage.volts, 1 / stage.fine_hz)
    return np.sqrt(2) * rms_ma / (stage.omega * stage.setting.crest_kv) * slope


def neighbours(stage: Stage, rms_ma: tuple[float, float]) -> Floats:
    """Capacitive currents of the two other phases, at 120 and 240 degrees [mA]."""
    pair = zip(rms_ma, (2 * np.pi / 3, 4 * np.pi / 3), strict=True)
    return sum(
        (np.sqrt(2) * rms * np.cos(stage.theta - shift) for rms, shift in pair),
        np.zeros(len(stage.theta)),
    )
