"""What film and capacitance explain of each window, and what they leave.

A wet film conducts in proportion to the voltage and the capacitance in proportion to its slope, its
distortion included. Both are found where no arc can burn: near the voltage's zeros, on the median
cycle of the window, which a few arcing half-cycles do not move. What is left of each half-cycle is
its residual; what it differs by from the median cycle is its deviation. Both are turned so that
current in the voltage's own direction is positive.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.measure.planes import Singles, median_of, planes_of

Floats = npt.NDArray[np.float64]

NEAR_ZERO_RAD = np.radians(22.0)
"""Around the voltage's zeros no dry band has the voltage to break down. Design choice."""

SUPPLY_ORDERS = 20
"""Orders of the voltage's distortion that are followed through film and capacitance."""

NOISE_MA_MIN = 1e-4
"""Least noise assumed, so that ratios to it stay finite."""

NOISE_EVERY = 4
"""Of so many second differences one is looked at: hundreds of them tell the noise well enough."""

GAUSS = 0.6745
"""Median absolute value of a unit normal deviate."""


@dataclass(frozen=True, slots=True, eq=False)
class Explained:
    """Planes of shape (points, halves, n), and film_ma, capacitive_ma, noise_ma: (n,).

    upright: the current, turned. residual: without film, capacitance and offset. deviation: from
    the median cycle. film_ma, capacitive_ma: crests of the in-phase and leading parts [mA].
    noise_ma: standard deviation of the sample noise, by second differences.
    """

    upright: Singles
    residual: Singles
    deviation: Singles
    film_ma: Floats
    capacitive_ma: Floats
    noise_ma: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Reference:
    """The distinct voltages [kV], (m, halves, points), and which of them each window has, (n,)."""

    voltages: Floats
    row: npt.NDArray[np.int64]


def explained(current: Floats, reference: Reference | None, polarity: Floats) -> Explained:
    """current: (n, halves, points) mA, halves >= 2; polarity: (halves,), each the opposite of the
    one before.

    An odd half-cycle at the end is explained by the whole cycles before it.
    """
    count, halves, points = current.shape
    even = halves - halves % 2
    upright = planes_of(current, polarity)
    median = median_of([upright[:, half : half + 2] for half in range(0, even, 2)])
    # the sides of the median cycle as they flow, one after the other
    sides = np.stack([median[:, 0], -median[:, 1]]) * np.float32(polarity[0])
    flowing = sides.transpose(2, 0, 1).reshape(count, 2 * points).astype(np.float64)
    share, linear = _explanation(flowing, reference, float(polarity[0]))
    return Explained(
        upright=upright,
        residual=_without(upright, planes_of(linear.reshape(count, 2, points), polarity[:2])),
        deviation=_without(upright, median),
        film_ma=share[:, 0],
        capacitive_ma=share[:, 1],
        noise_ma=_noise(upright),
    )


def _without(planes: Singles, cycle: Singles) -> Singles:
    """Every half-cycle without its side of a cycle, (points, 2, n)."""
    points, halves, count = planes.shape
    even = halves - halves % 2
    left = np.empty_like(planes)
    shape = (points, even // 2, 2, count)
    np.subtract(planes[:, :even].reshape(shape), cycle[:, None], out=left[:, :even].reshape(shape))
    if even < halves:
        left[:, even] = planes[:, even] - cycle[:, 0]
    return left


def _explanation(
    median: Floats, reference: Reference | None, first: float
) -> tuple[Floats, Floats]:
    """(crests of film, capacitance and offset, (n, 3); the current that they make), of the median
    cycle, (n, points), whose first half-cycle has the polarity `first`."""
    points = median.shape[1]
    angle = 2 * np.pi * np.arange(points) / points
    plain = np.stack([np.sin(angle) * first, np.cos(angle) * first, np.ones(points)])
    near = np.abs(np.sin(angle)) < np.sin(NEAR_ZERO_RAD)
    found = _linear(plain[None], median, near)
    if reference is None:
        return found
    halves = reference.voltages.shape[1]
    even = reference.voltages[:, : halves - halves % 2]
    shapes = plain + _supply(even.reshape(len(even), -1, points))
    return _better(median, found, _linear(shapes[reference.row], median, near))


def _linear(shapes: Floats, median: Floats, near: npt.NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """(shares of the three shapes found near the zeros, the current that they make)."""
    share = _fitted(shapes[:, :, near], median[:, near])
    current = share[:, :1] * shapes[:, 0]
    current += share[:, 1:2] * shapes[:, 1]
    current += share[:, 2:] * shapes[:, 2]
    return share, current


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
    """Least-squares shares of three shapes, (n, 3), by the normal equations written out.

    shapes: (n, 3, points), or (1, 3, points) where all have the same; wanted: (n, points).
    """
    one, two, three = shapes[:, 0], shapes[:, 1], shapes[:, 2]
    a, b, c = _dot(one, one), _dot(one, two), _dot(one, three)
    d, e, f = _dot(two, two), _dot(two, three), _dot(three, three)
    right = [_dot(shape, wanted) for shape in (one, two, three)]
    minors = [d * f - e * e, c * e - b * f, b * e - c * d]
    below = a * minors[0] + b * minors[1] + c * minors[2]
    x = (minors[0] * right[0] + minors[1] * right[1] + minors[2] * right[2]) / below
    rest1, rest2 = right[1] - b * x, right[2] - c * x
    inner = d * f - e * e
    return np.stack([x, (f * rest1 - e * rest2) / inner, (d * rest2 - e * rest1) / inner], axis=1)


def _dot(one: Floats, other: Floats) -> Floats:
    return np.asarray(np.add.reduce(one * other, axis=-1), np.float64)


def _noise(planes: Singles) -> Floats:
    """Standard deviation of white sample noise [mA]: half of all second differences are quiet."""
    bent = planes[2::NOISE_EVERY] - 2 * planes[1:-1:NOISE_EVERY]
    bent += planes[:-2:NOISE_EVERY]
    sizes = np.ascontiguousarray(np.abs(bent).reshape(-1, planes.shape[-1]).T)
    middle = sizes.shape[1] // 2
    found = np.partition(sizes, middle, axis=1)[:, middle].astype(np.float64)
    return np.asarray(np.maximum(found / (GAUSS * np.sqrt(6.0)), NOISE_MA_MIN), np.float64)
