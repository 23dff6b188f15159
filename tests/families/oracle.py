"""A judge that knows the truth: shows that every limit of the scorer can be reached."""

from __future__ import annotations

import numpy as np

from edge.quantities import WINDOW_CYCLES, State
from tests.families.labelled import Label, Labelled
from tests.families.outcome import ARCING, NOT_ARCING, HalfcycleOutcome, Outcome, in_windows
from tests.families.window_truth import window_states


def told(labelled: Labelled, shift: float = 0.0) -> Outcome:
    """The truth as an outcome; the mains clock stands off by `shift` half-cycles."""
    truth = labelled.truth
    moved = truth.boundaries + shift * float(np.median(np.diff(truth.boundaries)))
    arcing = truth.label == Label.ARCING
    said = HalfcycleOutcome(
        moved[:-1],
        moved[1:],
        arcing.astype(float),
        np.where(arcing, ARCING, NOT_ARCING).astype(np.int8),
        truth.polarity,
        truth.charge_c,
    )
    size = 2 * WINDOW_CYCLES[int(labelled.recording.description.nominal_hz)]
    first = np.arange(0, len(truth), size)
    start, end = moved[first], moved[np.minimum(first + size, len(truth))]
    quiet = tuple(_quiet(labelled, a, b) for a, b in zip(start, end, strict=True))
    spiky = (truth.label == Label.CORONA_SPIKE).astype(np.int8)
    return Outcome(in_windows(said, start, end, quiet, spiky), said)


def _quiet(labelled: Labelled, start: float, end: float) -> State:
    accepted, _, _ = window_states(labelled, float(start), float(end))
    return min(accepted or {State.UNKNOWN}, key=list(State).index)
