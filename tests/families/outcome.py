"""What a detector says about one recording, in a form that any detector can fill in.

A judge is a function from a `Recording` to an `Outcome`. It may speak of each half-cycle or only of
windows; what it leaves out is not scored.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.quantities import State
from tests.families.labelled import Floats, Marks, Recording

NOT_ARCING, ARCING, DOUBTFUL = 0, 1, 2


@dataclass(frozen=True, slots=True, eq=False)
class HalfcycleOutcome:
    """One entry a half-cycle, in order of time, as the detector cut them.

    start, end: positions [samples by counter]. probability: that a dry-band arc burnt in it.
    verdict: `NOT_ARCING`, `ARCING` or `DOUBTFUL` (counted as not arcing, and apart).
    polarity: sign of its current (+1, -1), 0 where the detector does not say.
    charge_c: integral of |i| over it [C], or None.
    """

    start: Floats
    end: Floats
    probability: Floats
    verdict: Marks
    polarity: Marks
    charge_c: Floats | None = None


@dataclass(frozen=True, slots=True, eq=False)
class WindowOutcome:
    """One entry a window, in order of time; positions in samples by counter.

    arcing_positive, arcing_negative, doubtful, spike: half-cycles so judged.
    arcing_charge_c: integral of |i| over the arcing half-cycles [C].
    """

    start: Floats
    end: Floats
    state: tuple[State, ...]
    halfcycles: Floats
    arcing_positive: Floats
    arcing_negative: Floats
    doubtful: Floats
    spike: Floats
    arcing_charge_c: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """All that a detector says of a recording."""

    windows: WindowOutcome
    halfcycles: HalfcycleOutcome | None = None


Judge = Callable[[Recording], Outcome]


def in_windows(
    halfcycles: HalfcycleOutcome,
    start: Floats,
    end: Floats,
    quiet: tuple[State, ...],
    spiky: Marks | None = None,
) -> WindowOutcome:
    """Windows whose counts and arcing states follow from half-cycles by the contract's rule.

    A half-cycle belongs to the window of its middle. `quiet`: each window's state without arcs.
    """
    middle = (halfcycles.start + halfcycles.end) / 2
    home = np.searchsorted(start, middle, "right") - 1
    known = (home >= 0) & (middle < end[np.maximum(home, 0)])
    home = np.where(known, home, len(start))

    def count(mark: npt.ArrayLike) -> Floats:
        weight = np.asarray(mark, dtype=np.float64)
        return np.bincount(home, weight, len(start) + 1)[: len(start)]

    arcing = halfcycles.verdict == ARCING
    up, down = halfcycles.polarity >= 0, halfcycles.polarity < 0
    many = count(np.ones(len(middle)))
    positive, negative = count(arcing & up), count(arcing & down)
    share = np.maximum(positive / np.maximum(count(up), 1), negative / np.maximum(count(down), 1))
    states = [
        rest if not any_arc else State.ARCING_DENSE if part >= 0.5 else State.ARCING_SPARSE
        for rest, any_arc, part in zip(quiet, positive + negative > 0, share, strict=True)
    ]
    charge = np.zeros(len(middle)) if halfcycles.charge_c is None else halfcycles.charge_c
    spikes = np.zeros(len(middle)) if spiky is None else spiky.astype(float)
    return WindowOutcome(
        start,
        end,
        tuple(states),
        many,
        positive,
        negative,
        count(halfcycles.verdict == DOUBTFUL),
        count(spikes),
        count(charge * arcing),
    )
