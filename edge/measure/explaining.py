"""What film and capacitance explain of each window, and what they leave.

A wet film conducts in proportion to the voltage and the capacitance in proportion to its slope, its
distortion included. Both are found where no arc can burn: near the voltage's zeros, on the median
cycle of the window, which a few arcing half-cycles do not move. What is left of each half-cycle is
its residual; what it differs by from the median cycle is its deviation. Both are turned so that
current in the voltage's own direction is positive.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

NEAR_ZERO_RAD = np.radians(22.0)
"""Around the voltage's zeros no dry band has the voltage to break down. Design choice."""

SUPPLY_ORDERS = 20
"""Orders of the voltage's distortion that are followed through film and capacitance."""

NOISE_MA_MIN = 1e-4
"""Least noise assumed, so that ratios to it stay finite."""

GAUSS = 0.6745
"""Median absolute value of a unit normal deviate."""


@dataclass(frozen=True, slots=True, eq=False)
class Explained:
    """Shapes: (n, halves, points), but film_ma, capacitive_ma, noise_ma: (n,).

    upright: the current, turned. residual: without film, capacitance and offset. deviation: from
    the median cycle. film_ma, capacitive_ma: crests of the in-phase and leading parts [mA].
    noise_ma: standard deviation of the sample noise, by second differences.
    """

    upright: Floats
    residual: Floats
    deviation: Floats
    film_ma: Floats
    capacitive_ma: Floats
    noise_ma: Floats

    def rows(self, kept: npt.NDArray[np.int64]) -> Explained:
        """The same for some of the windows."""
        return Explained(*(getattr(self, one.name)[kept] for one in fields(self)))


def explained(current: Floats, voltage: Floats | None, polarity: Floats) -> Explained:
    """current: (n, halves, points) mA, halves >= 2; voltage: the same or None; polarity: (halves,).

    An odd half-cycle at the end is explained by the whole cycles before it.
    """
    count, halves, points = current.shape
    even = halves - halves % 2
    median = np.median(current[:, :even].reshape(count, -1, 2 * points), axis=1)
    angle = np.pi * np.arange(2 * points) / points
    first = float(polarity[0])
    parts = np.stack([np.sin(angle) * first, np.cos(angle) * first, np.ones(2 * points)])
    near = np.abs(np.sin(angle)) < np.sin(NEAR_ZERO_RAD)
    plain = np.broadcast_to(parts, (count, 3, 2 * points))
    share, linear = _linear(plain, median, near)
    if voltage is not None:
        supply = _supply(voltage[:, :even].reshape(count, -1, 2 * points))
        share, linear = _better(median, (share, linear), _linear(plain + supply, median, near))
    side = np.arange(halves) % 2
    turn = polarity[None, :, None]
    linear_by_half = linear.reshape(count, 2, points)[:, side]
    median_by_half = median.reshape(count, 2, points)[:, side]
    return Explained(
        upright=current * turn,
        residual=(current - linear_by_half) * turn,
        deviation=(current - median_by_half) * turn,
        film_ma=share[:, 0],
        capacitive_ma=share[:, 1],
        noise_ma=_noise(current),
    )


def _linear(shapes: Floats, median: Floats, near: npt.NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """(shares of the three shapes found near the zeros, the current that they make)."""
    share = _fitted(shapes[:, :, near], median[:, near])
    return share, np.asarray(np.add.reduce(share[:, :, None] * shapes, axis=1), np.float64)


def _better(
    median: Floats, first: tuple[Floats, Floats], second: tuple[Floats, Floats]
) -> tuple[Floats, Floats]:
    """Of two explanations, window by window, the one that leaves less of the median cycle.

    A reference may be distorted where the conductor is not.
    """
    left = [np.add.reduce(np.square(median - linear), axis=1) for _, linear in (first, second)]
    better = (left[1] < left[0])[:, None]
    return np.where(better, second[0], first[0]), np.where(better, second[1], first[1])


def _supply(voltage: Floats) -> Floats:
    """The voltage's distortion and its slope's, for a fundamental of unit crest, (n, 3, points)."""
    mean = np.add.reduce(voltage, axis=1) / voltage.shape[1]
    lines = np.fft.rfft(mean, axis=-1)
    points = mean.shape[-1]
    crest = np.maximum(2 * np.abs(lines[:, 1]) / points, 1e-9)
    harmonics = lines.copy()
    harmonics[:, :2] = 0
    harmonics[:, SUPPLY_ORDERS:] = 0
    slopes = harmonics * (1j * np.arange(lines.shape[1]))
    found = np.zeros((len(mean), 3, points))
    found[:, 0] = np.fft.irfft(harmonics, points, axis=-1) / crest[:, None]
    found[:, 1] = np.fft.irfft(slopes, points, axis=-1) / crest[:, None]
    return found


def _fitted(shapes: Floats, wanted: Floats) -> Floats:
    """Least-squares shares of three shapes, (n, 3), by the normal equations written out."""
    gram = np.add.reduce(shapes[:, :, None] * shapes[:, None, :], axis=-1)
    right = np.add.reduce(shapes * wanted[:, None], axis=-1)
    a, b, c = gram[:, 0, 0], gram[:, 0, 1], gram[:, 0, 2]
    d, e, f = gram[:, 1, 1], gram[:, 1, 2], gram[:, 2, 2]
    minors = np.stack([d * f - e * e, c * e - b * f, b * e - c * d], axis=1)
    below = a * minors[:, 0] + b * minors[:, 1] + c * minors[:, 2]
    x = np.add.reduce(minors * right, axis=1) / below
    rest1, rest2 = right[:, 1] - b * x, right[:, 2] - c * x
    inner = d * f - e * e
    return np.stack([x, (f * rest1 - e * rest2) / inner, (d * rest2 - e * rest1) / inner], axis=1)


def _noise(current: Floats) -> Floats:
    """Standard deviation of white sample noise [mA]: half of all second differences are quiet."""
    bent = np.abs(current[..., 2:] - 2 * current[..., 1:-1] + current[..., :-2])
    middle = np.median(bent.reshape(len(current), -1), axis=1)
    return np.asarray(np.maximum(middle / (GAUSS * np.sqrt(6.0)), NOISE_MA_MIN), np.float64)
