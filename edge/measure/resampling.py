"""Windows on the mains clock: every window the same number of points, whatever the frequency.

Each point is an eight-tap weighted sum of neighbouring samples. The taps for a fractional delay are
the weighted least-squares fit of exp(j w d) over the band up to 0.42 of the sampling rate, low
frequencies weighing most (general least-squares fractional delay, e.g. Laakso et al., IEEE Signal
Processing Magazine 13(1), 1996, as recalled).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

TAPS = 8
BEFORE = TAPS // 2 - 1
"""Samples needed before a position's whole part; TAPS - BEFORE - 1 are needed after it."""

DELAYS = 512
"""Fractional delays tabulated; the nearest is taken (error under 1/1000 sample)."""

BAND = 0.42
"""Share of the sampling rate over which the taps are fitted."""


def _taps() -> Floats:
    """Shape (DELAYS + 1, TAPS): weights for delays 0, 1/DELAYS, ..., 1."""
    turns = 2 * np.pi * np.linspace(0.0, BAND, 400)
    weights = 1.0 / (0.02 + turns) ** 2
    offsets = np.arange(TAPS) - BEFORE
    basis = (
        np.concatenate([np.cos(np.outer(turns, offsets)), np.sin(np.outer(turns, offsets))])
        * np.concatenate([weights, weights])[:, None]
    )
    delays = np.arange(DELAYS + 1) / DELAYS
    wanted = (
        np.concatenate([np.cos(np.outer(turns, delays)), np.sin(np.outer(turns, delays))])
        * np.concatenate([weights, weights])[:, None]
    )
    # least squares by orthogonal columns; without a product of large matrices, for which the
    # linear-algebra library would start its threads
    columns, triangle = np.linalg.qr(basis)
    taps = np.linalg.solve(triangle, np.einsum("nk,nd->kd", columns, wanted)).T
    # constants pass unchanged, and a delay of none is the sample itself
    taps /= taps.sum(axis=1, keepdims=True)
    # rounded, so that another linear-algebra library gives the same table to the last bit
    return np.asarray(np.round(taps, 9), np.float64)


TAP_TABLE = _taps()
TAP_COLUMNS = np.ascontiguousarray(TAP_TABLE.T)


def points_per_cycle(rate_hz: float, nominal_hz: float) -> int:
    """Points on the mains clock: at least the sampling rate's, a multiple of 4, easy to transform.

    A multiple of 4 puts the zeros and the crests of the voltage on points.
    """
    points = 4 * -(-round(rate_hz / nominal_hz * 1000) // 4000)
    while not _smooth(points):
        points += 4
    return points


def _smooth(number: int) -> bool:
    for prime in (2, 3, 5, 7):
        while number % prime == 0:
            number //= prime
    return number == 1


def grid(starts: Floats, ends: Floats, points: int) -> Floats:
    """Positions, shape (windows, points), evenly from each start up to but without its end."""
    share = np.arange(points) / points
    return np.asarray(starts[:, None] + (ends - starts)[:, None] * share, np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Taps:
    """Where the points of some rows read their neighbours, and with which weights.

    positions: shape (rows, points). first: (rows,), the first sample that any point of a row reads.
    weights: (TAPS, rows, points); point i of a row is the sum over k of weights[k] times sample
    first + i + k. As a grid hardly differs from the samples', whole rows of samples are read at
    once instead of eight for each point. Where it moves on against them by a sample or more within
    a row, further: rows of their own with more weights, (TAPS + moved, rows, points), and which.
    """

    positions: Floats
    first: Integers
    weights: Floats
    moved: Integers
    further: Floats


def taps_at(positions: Floats) -> Taps:
    """Taps of positions, shape (rows, points), each row rising by about a sample a point."""
    whole = np.floor(positions)
    delay = np.rint((positions - whole) * DELAYS).astype(np.int64)
    at = whole.astype(np.int64)
    ahead = at - at[:, :1] - np.arange(positions.shape[1])
    least = ahead.min(axis=1)
    ahead -= least[:, None]
    moved = np.flatnonzero(ahead.max(axis=1))
    weights = _chosen(TAP_COLUMNS, delay)
    further = np.zeros((TAPS, 0, positions.shape[1]))
    if len(moved):
        table = _shifted(int(ahead[moved].max()))
        further = _chosen(table, ahead[moved] * (DELAYS + 1) + delay[moved])
    return Taps(positions, at[:, 0] - BEFORE + least, weights, moved, further)


def _chosen(table: Floats, places: Integers) -> Floats:
    """Entries of each row of a table, shape (rows of the table, *places)."""
    found = np.empty((len(table), *places.shape))
    for column, one in zip(table, found, strict=True):
        np.take(column, places, out=one, mode="clip")
    return found


@lru_cache(maxsize=32)
def _shifted(furthest: int) -> Floats:
    """Weights moved on by 0 to `furthest` samples; (TAPS + furthest, (furthest + 1) * delays)."""
    table = np.zeros((furthest + 1, DELAYS + 1, TAPS + furthest))
    for shift in range(furthest + 1):
        table[shift, :, shift : shift + TAPS] = TAP_TABLE
    return np.ascontiguousarray(table.reshape(-1, TAPS + furthest).T)


def resampled(samples: Floats, taps: Taps) -> Floats:
    """One channel's values at the positions of `taps`, in their shape.

    A missing sample spoils the points that have it among their eight neighbours, and no other.
    """
    points = taps.positions.shape[1]
    reach = max(len(taps.weights), len(taps.further))
    inside = samples[int(taps.first.min()) : int(taps.first.max()) + points + reach - 1]
    if not np.isfinite(np.add.reduce(inside)):
        return _point_by_point(samples, taps.positions)
    summed = _weighed(samples, taps.first, taps.weights)
    if len(taps.moved):
        summed[taps.moved] = _weighed(samples, taps.first[taps.moved], taps.further)
    return summed


def _weighed(samples: Floats, first: Integers, weights: Floats) -> Floats:
    """Sums of neighbours, in their order; first: where each row begins."""
    points = weights.shape[2]
    length = points + len(weights) - 1
    rows = np.lib.stride_tricks.sliding_window_view(samples, length)[first]
    summed: Floats = weights[0] * rows[:, :points]
    product = np.empty_like(summed)
    for k in range(1, len(weights)):
        np.multiply(weights[k], rows[:, k : k + points], out=product)
        summed += product
    return summed


def _point_by_point(samples: Floats, positions: Floats) -> Floats:
    """The same sums in the same order without the weights that are zero: the same to the bit."""
    whole = np.floor(positions)
    weights = TAP_TABLE[np.rint((positions - whole) * DELAYS).astype(np.int64)]
    first = whole.astype(np.int64) - BEFORE
    neighbours = np.lib.stride_tricks.sliding_window_view(samples, TAPS)[first]
    summed = weights[..., 0] * neighbours[..., 0]
    for k in range(1, TAPS):
        summed = summed + weights[..., k] * neighbours[..., k]
    return np.asarray(summed, np.float64)
