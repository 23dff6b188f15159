"""Arcing half-cycles by identification.

Once film and capacitance are taken away (`explaining`), the shape of what is left (`shape`) tells a
dry-band arc from everything harmless. The figures are weighed by a small fixed network
(`arc_model`) that gives a probability; its weights were fitted on labelled simulated families, and
what that is worth is written down on this package's page. A half-cycle is called arcing only when
it is likely, its window's evidence is believed (`believing`), and it passes the conditions below,
which no weighing can talk away.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from edge.measure.arc_model import probability_of
from edge.measure.believing import believed
from edge.measure.explaining import Reference, explained
from edge.measure.shape import FIGURES, figures

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

LIKELY = 0.5
"""From this probability on a half-cycle counts as arcing, if its window's evidence is believed."""

DOUBT_FROM = 0.25
"""From this on it could not be told: doubtful, unless it counts as arcing."""

RESIDUAL_MA_MIN = 0.5
"""A residual that stays below this is nothing that wears a surface. Design choice."""

RESIDUAL_TO_NOISE_MIN = 4.0
"""Nor can an arc be told below so many times the noise."""

SPIKE_MA_MIN = 0.5
SPIKE_TO_NOISE_MIN = 8.0
SPIKE_TO_SMOOTH_MIN = 2.0
"""A spike is that high over the noise, and that much higher than its running mean."""


@dataclass(frozen=True, slots=True, eq=False)
class Verdict:
    """Per half-cycle, shape (n, halves): probability of an arc, what follows, and what it rests on.

    figures: of `shape.FIGURES`, shape (n, halves, figures); zeros in half-cycles that leave
    nothing unexplained.
    """

    probability: Floats
    arcing: Bools
    doubtful: Bools
    spike: Bools
    figures: Floats


def judged(
    current: Floats, reference: Reference | None, polarity: Floats, points_per_s: float
) -> Verdict:
    """current: (n, halves, points) [mA] on the mains clock; reference: its voltage, if measured.

    polarity: sign of the voltage of each half-cycle; points_per_s: of the mains clock at nominal
    frequency. Fewer than two half-cycles are not judged.
    """
    shape = current.shape[:2]
    if shape[0] == 0 or shape[1] < 2:
        none = np.zeros(shape, np.bool_)
        return Verdict(np.zeros(shape), none, none, none, np.zeros((*shape, len(FIGURES))))
    seen = explained(current, reference, polarity)
    raw = seen.residual.max(axis=0)
    possible = raw > np.maximum(RESIDUAL_MA_MIN, RESIDUAL_TO_NOISE_MIN * seen.noise_ma)
    shapes = np.zeros((len(FIGURES), shape[1], shape[0]))
    probability = np.zeros(possible.shape)
    # most half-cycles of a year leave nothing unexplained; they are spared the rest
    if possible.any():
        found = figures(seen, possible, points_per_s)
        shapes[:, possible] = found
        probability[possible] = probability_of(found)
    burns = believed(probability, shapes, by_voltage=reference is not None)
    verdict = _verdict(probability, burns, shapes, raw, seen.noise_ma)
    return Verdict(*(getattr(verdict, one.name).T for one in fields(verdict)))


def _verdict(
    probability: Floats, burns: Bools, shapes: Floats, raw: Floats, noise: Floats
) -> Verdict:
    arcing = (probability >= LIKELY) & burns
    doubtful = (probability > DOUBT_FROM) & ~arcing
    sharp = shapes[1] > np.log(SPIKE_TO_SMOOTH_MIN)
    high = raw > np.maximum(SPIKE_MA_MIN, SPIKE_TO_NOISE_MIN * noise)
    spike = sharp & high & ~arcing & ~doubtful
    return Verdict(probability, arcing, doubtful, spike, shapes)
