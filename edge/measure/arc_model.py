"""The weighing of a half-cycle's figures: one hidden layer of saturating sums, a probability out.

The weights stand in `arc_weights`, one row a figure of `shape.FIGURES`. They were fitted by
`python -m tests.families.fit` to labelled simulated half-cycles; nothing in them was measured on a
line. Every product is formed and summed in a fixed order, so that no linear-algebra library has a
say in the result.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from edge.measure.arc_weights import BIAS, CENTRE, HIDDEN, OFFSETS, OUT, SCALE
from edge.measure.shape import FIGURES

Floats = npt.NDArray[np.float64]

CLIP = 4.0
"""Figures further from their centre than so many scales count as that far."""

_CENTRE, _SCALE = np.array(CENTRE), np.array(SCALE)
_HIDDEN, _OFFSETS, _OUT = np.array(HIDDEN), np.array(OFFSETS), np.array(OUT)

assert len(FIGURES) == len(CENTRE) == len(SCALE) == len(HIDDEN)


def probability_of(shapes: Floats) -> Floats:
    """Probability of an arc, shape (m,), from figures of shape (len(FIGURES), m)."""
    scaled = np.clip((shapes - _CENTRE[:, None]) / _SCALE[:, None], -CLIP, CLIP)
    layer = np.repeat(_OFFSETS[:, None], shapes.shape[1], axis=1)
    for figure, weights in zip(scaled, _HIDDEN, strict=True):
        layer += weights[:, None] * figure
    log_odds = np.add.reduce(np.tanh(layer) * _OUT[:, None], axis=0) + BIAS
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(log_odds, -40.0, 40.0))), np.float64)
