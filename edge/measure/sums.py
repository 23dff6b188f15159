"""Charge, i-squared-t, energy and extremes of half-cycles and of the pieces beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Sums:
    """Integrals over time; the last axis is that of what was summed over, already gone.

    charge: |i| [mA s]. signed_charge: i [mA s]. square: i^2 [mA^2 s]. signed_square: i |i|.
    energy: u i [kV mA s = J], absolute_energy: u |i|; zeros without voltage.
    """

    charge: Floats
    signed_charge: Floats
    square: Floats
    signed_square: Floats
    energy: Floats
    absolute_energy: Floats

    def by_polarity(self, total: str) -> tuple[Floats, Floats]:
        """(of positive current, of negative current) of "charge", "square" or "energy"."""
        whole, signed = {
            "charge": (self.charge, self.signed_charge),
            "square": (self.square, self.signed_square),
            "energy": (self.energy, self.absolute_energy),
        }[total]
        return (whole + signed) / 2, (whole - signed) / 2


def integrated(current: Floats, voltage: Floats | None, step_s: Floats) -> Sums:
    """Integrals over the last axis; step_s: seconds between points, shape of the result."""
    absolute = np.abs(current)
    charge = np.add.reduce(absolute, axis=-1) * step_s
    signed_charge = np.add.reduce(current, axis=-1) * step_s
    square = np.add.reduce(current * current, axis=-1) * step_s
    signed_square = np.add.reduce(current * absolute, axis=-1) * step_s
    if voltage is None:
        none = np.zeros_like(charge)
        return Sums(charge, signed_charge, square, signed_square, none, none)
    energy = np.add.reduce(current * voltage, axis=-1) * step_s
    absolute_energy = np.add.reduce(absolute * voltage, axis=-1) * step_s
    return Sums(charge, signed_charge, square, signed_square, energy, absolute_energy)


def joined_sums(parts: Sequence[Sums]) -> Sums:
    """Sums of consecutive windows together."""
    if len(parts) == 1:
        return parts[0]
    return Sums(*(np.concatenate([getattr(one, f.name) for one in parts]) for f in fields(Sums)))


def extremes(samples: Floats, edges: Integers) -> tuple[Floats, Floats]:
    """(highest, lowest) sample between each edge and the next, shape (n, m) of edges (n, m + 1).

    Each row of edges rises.
    """
    # reduceat takes every other pair of a flat list; the ones between are thrown away
    pairs = np.stack([edges[:, :-1], edges[:, 1:]], axis=-1).ravel()
    inside = samples[: int(edges.max())]
    pairs = np.minimum(pairs, len(inside) - 1)
    shape = (len(edges), edges.shape[1] - 1)
    high = np.maximum.reduceat(inside, pairs)[::2].reshape(shape)
    low = np.minimum.reduceat(inside, pairs)[::2].reshape(shape)
    return high, low
