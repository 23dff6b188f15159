"""Arcing half-cycles by identification: what is left once film and capacitance are taken away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Verdict:
    """Per half-cycle, shape (windows, halfcycles): probability of an arc, and what follows."""

    probability: Floats
    arcing: Bools
    doubtful: Bools
    spike: Bools


def judged(current: Floats, voltage: Floats | None, polarity: Floats) -> Verdict:
    """current: (windows, halfcycles, points) mA on the mains clock; polarity: (halfcycles,) +-1."""
    points = current.shape[-1]
    upright = current * polarity[:, None]
    angle = np.pi * np.arange(points) / points
    edge = np.minimum(angle, np.pi - angle) < np.radians(18)
    basis = np.stack([np.sin(angle), np.cos(angle), np.ones(points)])
    fit = np.linalg.pinv(basis[:, edge].T)
    coefficients = np.median(upright[:, :, edge] @ fit.T, axis=1)
    rest = upright - (coefficients @ basis)[:, None, :]
    peak = rest.max(axis=-1)
    quiet = np.mean(rest < 0.15 * peak[..., None], axis=-1)
    wide = np.sum(rest > 0.5 * peak[..., None], axis=-1) / points
    strong = peak > 1.0
    arcing = strong & (quiet > 0.28) & (wide > 0.06)
    spike = strong & (quiet > 0.28) & ~arcing
    return Verdict(arcing.astype(np.float64), arcing, np.zeros_like(arcing), spike)
