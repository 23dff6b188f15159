"""Half-cycles as planes: their first points side by side, then their second points, and so on.

Planes have shape (points, m) or (points, halves, windows). Whatever is summed or compared over a
half-cycle runs over the first axis, a whole row of half-cycles at each step, in the order of the
points; so neither the number of windows nor the width of the processor's registers has a say in the
result. Single precision holds seven digits, a converter five.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import TypeVar

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Bools = npt.NDArray[np.bool_]
Counts = npt.NDArray[np.unsignedinteger]


def planes_of(windows: Floats, signs: Floats) -> Singles:
    """Windows of shape (n, halves, points), each half-cycle times its sign, (halves,)."""
    turned: Singles = np.ascontiguousarray(windows.transpose(2, 1, 0), dtype=np.float32)
    turned *= signs.astype(np.float32)[:, None]
    return turned


Precision = TypeVar("Precision", np.float32, np.float64)


COMPARED_SIZE_MIN = 500
"""Smaller arrays are sorted entry by entry, larger ones by comparing whole arrays; the same."""


def median_of(rows: Sequence[npt.NDArray[Precision]]) -> npt.NDArray[Precision]:
    """Median of some arrays, element by element, the mean of the middle two where they are even."""
    sorted_rows = list(rows)
    if rows[0].size < COMPARED_SIZE_MIN:
        sorted_rows = list(np.sort(np.stack(rows), axis=0))
    else:
        for low, high in _comparators(len(rows)):
            first, second = sorted_rows[low], sorted_rows[high]
            sorted_rows[low], sorted_rows[high] = (
                np.minimum(first, second),
                np.maximum(first, second),
            )
    middle = len(rows) // 2
    if len(rows) % 2:
        return sorted_rows[middle]
    return (sorted_rows[middle - 1] + sorted_rows[middle]) / rows[0].dtype.type(2)


@lru_cache(maxsize=32)
def _comparators(count: int) -> tuple[tuple[int, int], ...]:
    """Pairs to be put in order, one after the other, that sort `count` entries: odd-even merges."""
    return tuple(_merges(count))


def _merges(count: int) -> Iterator[tuple[int, int]]:
    run = 1
    while run < count:
        apart = run
        while apart:
            for low in range(apart % run, count - apart):
                in_step = (low - apart % run) // apart % 2 == 0
                if in_step and low // (2 * run) == (low + apart) // (2 * run):
                    yield low, low + apart
            apart //= 2
        run *= 2


def running_mean(planes: Singles, width: float) -> Singles:
    """Centred mean over about `width` points, over fewer at the half-cycle's ends; (points, m)."""
    reach = max(1, int(width)) // 2
    points, wide = len(planes), 2 * reach + 1
    padded = np.zeros((points + 2 * reach, planes.shape[1]), np.float32)
    padded[reach : reach + points] = planes
    summed = _box(padded, wide, points)
    at = np.arange(points)
    within = np.minimum(points, at + reach + 1) - np.maximum(0, at - reach)
    summed *= (1.0 / within).astype(np.float32)[:, None]
    return summed


def _box(padded: Singles, wide: int, count: int) -> Singles:
    """Sums of `wide` neighbouring points, from `count` starts, by sums of 1, 2, 4, ... of them."""
    summed = np.zeros((count, padded.shape[1]), np.float32)
    block, size, begun = padded, 1, 0
    while size <= wide:
        if wide & size:
            summed += block[begun : begun + count]
            begun += size
        if 2 * size <= wide:
            block = block[:-size] + block[size:]
        size *= 2
    return summed


def share(marked: Bools) -> Floats:
    """Share of the points that are marked."""
    total = np.add.reduce(marked.view(np.uint8), axis=0, dtype=_counting(len(marked)))
    return np.asarray(total / np.float64(len(marked)), np.float64)


def first_at(marked: Bools) -> Floats:
    """Where the first mark stands, as a share of the half-cycle; 0 without."""
    points = len(marked)
    left = _furthest(marked, np.arange(points, 0, -1))
    return np.where(left == 0, 0.0, (points - left) / points)


def last_at(marked: Bools) -> Floats:
    """Where the last mark ends, as a share of the half-cycle; 1 without."""
    points = len(marked)
    until = _furthest(marked, np.arange(1, points + 1))
    return np.where(until == 0, 1.0, until / points)


def _furthest(marked: Bools, places: npt.NDArray[np.int64]) -> Floats:
    weights = places.astype(_counting(len(marked)))[:, None]
    return np.asarray((marked.view(np.uint8) * weights).max(axis=0), np.float64)


def _counting(points: int) -> type[np.unsignedinteger]:
    """The narrowest whole numbers that count the points of a half-cycle."""
    return np.uint8 if points < 256 else np.uint16


def centre_at(planes: Singles) -> Floats:
    """Centre of the positive part, as a share of the half-cycle."""
    positive = np.maximum(planes, np.float32(0.0))
    at = (np.arange(len(planes)) / len(planes)).astype(np.float32)[:, None]
    total = np.add.reduce(positive, axis=0).astype(np.float64) + 1e-9
    return np.asarray(np.add.reduce(positive * at, axis=0) / total, np.float64)


def rms(planes: Singles) -> Floats:
    """Root of the mean square over the points."""
    mean = np.add.reduce(np.square(planes), axis=0).astype(np.float64) / len(planes)
    return np.asarray(np.sqrt(mean), np.float64)


def folded(planes: Singles) -> tuple[Singles, Singles]:
    """(sums, differences) of the points that lie alike about the crest, first half's places.

    What rises and falls about the crest lives in the sums, what is odd about it in the differences;
    either takes half the points. Half-cycles have an even number of them.
    """
    half = len(planes) // 2
    mirrored = planes[: half - 1 : -1]
    return planes[:half] + mirrored, planes[:half] - mirrored
