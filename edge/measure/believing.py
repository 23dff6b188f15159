"""Which windows' likely half-cycles are believed: the joint evidence of a window.

The weighing looks at one half-cycle at a time and errs now and then; a dry band burns again. So the
log-odds of a window's likely half-cycles are added up, and together they must reach a limit. Those
of the same polarity and about the same size that are *not* likely are one wave with them, and
speak against them: a wave that repeats and of which every third half-cycle looks like an arc is
none. A half-cycle that stands alone must be what its window otherwise lacks, and not the short
pulse of a stroke, the ringing of a switch or the edge of something that goes on. Where the
evidence falls short, the likely half-cycles are doubtful, never arcing. All limits are design
choices, set on the labelled recordings of three generators (`tests/families`).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from edge.measure.shape import FIGURES

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

EVIDENCE_FROM = 0.6
"""Less likely half-cycles add nothing: many of them may share one harmless cause."""

JOINT_LOG_ODDS_MIN = 5.0
"""Two or more must reach this together (0.993): two of 0.92, three of 0.84."""

STRONGEST_MIN = 0.9
"""One of them must be as likely as this: many weak ones share one harmless cause."""

LONE_LOG_ODDS_MIN = float(np.log(0.97 / 0.03))
"""A single one must reach this, and stand alone by its shape as well."""

ALIKE_MAX = float(np.log(2.0))
"""Log of the strongest residual of the polarity over a half-cycle's own: within this it is of the
same wave."""

LOG_ODDS_MAX = 6.0
"""No half-cycle says more than this, for or against (0.9975)."""

ALONE_DEVIATION_MIN = -1.0
"""What arcs alone is not in the median cycle: log of its deviation over its residual."""

ALONE_NEIGHBOUR_MAX = -0.5
"""And its neighbours are smaller: log of their residual over its own. Else something sets in."""

PULSE_SHARE_MAX = 0.25
PULSE_RISE_MIN = 1.0
PULSE_FALL_MIN = 0.65
"""Alone, short, and sudden at both ends: an impulse."""

GLANCE_SHARE_MIN = 0.1
"""Alone and shorter than this share of the half-cycle: an impulse as well."""

BACKWARDS_MIN = 0.8
BRIGHT_EDGE_MIN = -0.5
SMALL_FILM_MAX = 0.0
"""Alone and flowing back nearly as strongly: ringing, where a voltage tells, if it is bright at its
zero, or if the film is too small for its misfit to do that (log of film over residual)."""

_ROW = {name: row for row, (name, _) in enumerate(FIGURES)}


def believed(probability: Floats, shapes: Floats, *, by_voltage: bool) -> Bools:
    """Which windows' likely half-cycles are believed, (n,).

    probability: (halves, n); shapes: of `shape.FIGURES`, (figures, halves, n). by_voltage: the
    voltage's zeros are measured, not guessed.
    """
    found = np.zeros(probability.shape[1], np.bool_)
    # most windows of a year have no likely half-cycle; they are spared the rest
    some = np.flatnonzero((probability >= EVIDENCE_FROM).any(axis=0))
    if len(some):
        found[some] = _enough(probability[:, some], shapes[:, :, some], by_voltage=by_voltage)
    return found


def _enough(probability: Floats, shapes: Floats, *, by_voltage: bool) -> Bools:
    likely = probability >= EVIDENCE_FROM
    number = np.add.reduce(likely, axis=0, dtype=np.int64)
    told = likely & ((number != 1) | _alone(shapes, by_voltage=by_voltage))
    # what left nothing unexplained was not weighed: its probability is none, and it says nothing
    against = ~likely & (probability > 0.0) & (_figure(shapes, "log_strongest") < ALIKE_MAX)
    evidence = np.where(told | against, _log_odds(probability), 0.0)
    sides = [np.add.reduce(evidence[side::2], axis=0) for side in (0, 1)]
    together = np.maximum(sides[0], 0.0) + np.maximum(sides[1], 0.0)
    surest = np.where(told, probability, 0.0).max(axis=0)
    enough = np.where(number == 1, LONE_LOG_ODDS_MIN, JOINT_LOG_ODDS_MIN)
    return np.asarray((together >= enough) & (surest >= STRONGEST_MIN), np.bool_)


def _log_odds(probability: Floats) -> Floats:
    surest = 1.0 / (1.0 + np.exp(-LOG_ODDS_MAX))
    held = np.clip(probability, 1.0 - surest, surest)
    return np.asarray(np.log(held / (1.0 - held)), np.float64)


def _figure(shapes: Floats, name: str) -> Floats:
    return np.asarray(shapes[_ROW[name]], np.float64)


def _alone(shapes: Floats, *, by_voltage: bool) -> Bools:
    """Half-cycles that may be the only arc of their window."""
    lasts = _figure(shapes, "above_fifth")
    sudden = _figure(shapes, "rise") > PULSE_RISE_MIN
    sudden &= _figure(shapes, "fall") > PULSE_FALL_MIN
    impulse = (lasts < GLANCE_SHARE_MIN) | (sudden & (lasts < PULSE_SHARE_MAX))
    beside = np.maximum(_figure(shapes, "log_before"), _figure(shapes, "log_after"))
    alone = ~impulse & (beside <= ALONE_NEIGHBOUR_MAX)
    alone &= _figure(shapes, "log_deviation") >= ALONE_DEVIATION_MIN
    if by_voltage:
        odd = _figure(shapes, "log_edge") > BRIGHT_EDGE_MIN
        odd |= _figure(shapes, "log_film") < SMALL_FILM_MAX
        alone &= ~(odd & (_figure(shapes, "against") > BACKWARDS_MIN))
    return np.asarray(alone, np.bool_)
