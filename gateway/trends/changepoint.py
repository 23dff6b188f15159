"""When a response changed: the night at which the levels before and after differ most."""

from __future__ import annotations

import numpy as np

from gateway.trends.columns import HOUR_US, Floats
from gateway.trends.distributions import kolmogorov_tail
from gateway.trends.response import Response

SURE = 0.05
"""No date is given where chance alone would part the nights as clearly so often."""
END_NIGHTS = 5
"""A change is not looked for among so many nights at either end."""
BLOCK_NIGHTS = 7


def change_us(response: Response) -> int | None:
    """UTC of the first night of the new level; None where no single date stands out.

    Largest excursion of the cumulative sum of the nights' levels, against the long-run scatter of
    blocks of nights about the two levels (Kolmogorov's distribution; standard statistics).
    """
    if response.fit is None:
        return None
    order = np.argsort(response.night_hours, kind="stable")
    levels = response.fit.levels[order]
    count = levels.shape[0]
    if count < 4 * END_NIGHTS:
        return None
    path = np.cumsum(levels - np.mean(levels))
    places = np.arange(1, count + 1)
    scaled = np.abs(path) / np.sqrt(places * (1.0 - places / (count + 1.0)))
    inner = slice(END_NIGHTS - 1, count - END_NIGHTS)
    at = END_NIGHTS + int(np.argmax(scaled[inner]))
    excursion = float(np.abs(path[at - 1])) / (_long_run_sd(levels, at) * np.sqrt(count))
    if kolmogorov_tail(excursion) > SURE:
        return None
    return int(response.night_hours[order][at]) * HOUR_US


def _long_run_sd(levels: Floats, at: int) -> float:
    """Scatter of the nights that a mean of many sees: from sums of blocks about the two levels."""
    left = np.concatenate((levels[:at] - np.mean(levels[:at]), levels[at:] - np.mean(levels[at:])))
    blocks = np.add.reduceat(left, np.arange(0, left.shape[0], BLOCK_NIGHTS))
    by_blocks = float(np.sum(np.square(blocks))) / left.shape[0]
    return float(np.sqrt(max(by_blocks, np.mean(np.square(left)), 1e-12)))
