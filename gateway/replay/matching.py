"""Moments of two lists matched one to one: as many pairs as can be, and of those the nearest.

In one dimension the best pairs never cross, so a table over (first i of A, first j of B) finds
them. Only cells within the tolerance are held; the work is the number of pairs that come near.
"""

from __future__ import annotations

from collections.abc import Sequence

Best = tuple[int, int]
"""Pairs with a minus sign, and the sum of their distances: the smaller the better."""

NOTHING: Best = (0, 0)


def nearest_pairs(
    moments_a: Sequence[int], moments_b: Sequence[int], tolerance: int
) -> list[tuple[int, int]]:
    """Indices (a, b) of the pairs, in order. Both lists are sorted; unit as that of the moments."""
    bands = _bands(moments_a, moments_b, tolerance)
    rows: list[list[Best]] = []
    above: list[Best] = [NOTHING]
    above_low = 0
    for index, (low, high) in enumerate(bands):
        row = [_cell(above, above_low, low)]
        for j in range(low, high):
            paired = _with(_cell(above, above_low, j), abs(moments_b[j] - moments_a[index]))
            row.append(min(paired, _cell(above, above_low, j + 1), row[-1]))
        rows.append(row)
        above, above_low = row, low
    return _walked_back(moments_a, moments_b, bands, rows)


def _bands(
    moments_a: Sequence[int], moments_b: Sequence[int], tolerance: int
) -> list[tuple[int, int]]:
    """For each of A the range of B within the tolerance."""
    bands = []
    low = high = 0
    for moment in moments_a:
        while low < len(moments_b) and moments_b[low] < moment - tolerance:
            low += 1
        high = max(high, low)
        while high < len(moments_b) and moments_b[high] <= moment + tolerance:
            high += 1
        bands.append((low, high))
    return bands


def _cell(row: list[Best], low: int, j: int) -> Best:
    """Best over the first j of B; beyond the row's band nothing is gained or lost."""
    return row[min(j - low, len(row) - 1)]


def _with(before: Best, distance: int) -> Best:
    return before[0] - 1, before[1] + distance


def _walked_back(
    moments_a: Sequence[int],
    moments_b: Sequence[int],
    bands: list[tuple[int, int]],
    rows: list[list[Best]],
) -> list[tuple[int, int]]:
    pairs = []
    j = len(moments_b)
    for index in reversed(range(len(rows))):
        low, high = bands[index]
        above, above_low = (rows[index - 1], bands[index - 1][0]) if index else ([NOTHING], 0)
        j = min(j, high)
        while j > low and _cell(rows[index], low, j) == _cell(rows[index], low, j - 1):
            j -= 1
        if j <= low or _cell(rows[index], low, j) == _cell(above, above_low, j):
            continue
        pairs.append((index, j - 1))
        j -= 1
    return pairs[::-1]
