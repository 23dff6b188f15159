"""Windows on the mains clock: every window the same number of points, whatever the frequency.

Each point is an eight-tap weighted sum of neighbouring samples. The taps for a fractional delay are
the weighted least-squares fit of exp(j w d) over the band up to 0.42 of the sampling rate, low
frequencies weighing most (general least-squares fractional delay, e.g. Laakso et al., IEEE Signal
Processing Magazine 13(1), 1996, as recalled).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

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
    fitted, *_ = np.linalg.lstsq(basis, wanted, rcond=None)
    taps = fitted.T
    # constants pass unchanged, and a delay of none is the sample itself
    taps /= taps.sum(axis=1, keepdims=True)
    # rounded, so that another linear-algebra library gives the same table to the last bit
    return np.asarray(np.round(taps, 9), np.float64)


TAP_TABLE = _taps()


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


def weights_at(positions: Floats) -> tuple[npt.NDArray[np.int64], Floats]:
    """(first sample of each point's taps, tap weights) of positions; shapes (n,), (n, TAPS)."""
    whole = np.floor(positions)
    delay = np.rint((positions - whole) * DELAYS).astype(np.int64)
    return whole.astype(np.int64) - BEFORE, np.take(TAP_TABLE, delay, axis=0)


def resampled(samples: Floats, first: npt.NDArray[np.int64], weights: Floats) -> Floats:
    """One channel's values at the positions that `weights_at` was given; shape (n,)."""
    neighbours = np.lib.stride_tricks.sliding_window_view(samples, TAPS)
    rows = np.take(neighbours, first, axis=0)
    return np.asarray(np.einsum("nk,nk->n", rows, weights), np.float64)
