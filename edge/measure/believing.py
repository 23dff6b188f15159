"""Which windows' likely half-cycles are believed: the joint evidence of a window.

The weighing looks at one half-cycle at a time and errs now and then; a dry band burns again. So the
log-odds of a window's likely half-cycles are added up, and together they must reach a limit. Those
of the same polarity and about the same size that are *not* likely are one wave with them, and speak
against them: a wave that repeats, and of which every third half-cycle looks like an arc, is none.
A few short impulses of strokes or corona count for nothing. A half-cycle that stands alone must be
what its window otherwise lacks, and not the ringing of a switch or the edge of what goes on. Where
the evidence falls short, the likely half-cycles are doubtful, never arcing. All limits are design
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

ALIKE_MAX = float(np.log(1.5))
"""Log of the strongest residual of the polarity over a half-cycle's own: within this it is of the
same wave; a smaller one beside a few large ones may be the film."""

LOG_ODDS_MAX = 6.0
"""No half-cycle says more than this, for or against (0.9975)."""

REPEATED_DEVIATION_MAX = np.log(0.1)
"""Log of deviation over residual: below this a half-cycle is a copy of the median cycle's."""

REPEATED_MEAN_MIN = 0.8
"""Copies of one wave are one piece of evidence: where most likely half-cycles repeat the median
cycle, they must be as likely as this on average, for their log-odds say the same thing twice."""

FEW = 3
IMPULSE_SHARE_MAX = 0.25
IMPULSE_RISE_MIN = 0.9
IMPULSE_FALL_MIN = 0.8
GLANCE_SHARE_MIN = 0.1
"""Where no more than so few are likely, what is short and equally sudden at both ends, or as short
as a glance, is an impulse: strokes and corona come in small numbers too."""

ALONE_DEVIATION_MIN = -1.0
"""What arcs alone is not in the median cycle: log of its deviation over its residual."""

ALONE_NEIGHBOUR_MAX = -0.5
"""And its neighbours are smaller: log of their residual over its own. Else something sets in."""

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
    told = likely & ((number > FEW) | ~_impulse(shapes))
    told &= (number != 1) | _alone(shapes, by_voltage=by_voltage)
    # what left nothing unexplained was not weighed: its probability is none, and it says nothing
    against = ~likely & (probability > 0.0) & (_figure(shapes, "log_strongest") < ALIKE_MAX)
    evidence = np.where(told | against, _log_odds(probability), 0.0)
    sides = [np.add.reduce(evidence[side::2], axis=0) for side in (0, 1)]
    together = np.maximum(sides[0], 0.0) + np.maximum(sides[1], 0.0)
    surest = np.where(told, probability, 0.0).max(axis=0)
    enough = together >= np.where(number == 1, LONE_LOG_ODDS_MIN, JOINT_LOG_ODDS_MIN)
    enough &= surest >= STRONGEST_MIN
    return np.asarray(enough & ~_weakly_repeated(probability, shapes, likely), np.bool_)


def _log_odds(probability: Floats) -> Floats:
    surest = 1.0 / (1.0 + np.exp(-LOG_ODDS_MAX))
    held = np.clip(probability, 1.0 - surest, surest)
    return np.asarray(np.log(held / (1.0 - held)), np.float64)


def _weakly_repeated(probability: Floats, shapes: Floats, likely: Bools) -> Bools:
    """Windows of which most likely half-cycles are copies that do not convince, (n,)."""
    number = np.add.reduce(likely, axis=0, dtype=np.int64)
    copies = np.add.reduce(likely & _repeated(shapes), axis=0, dtype=np.int64)
    mean = np.add.reduce(np.where(likely, probability, 0.0), axis=0) / np.maximum(number, 1)
    return np.asarray((2 * copies > number) & (mean < REPEATED_MEAN_MIN), np.bool_)


def _figure(shapes: Floats, name: str) -> Floats:
    return np.asarray(shapes[_ROW[name]], np.float64)


def _repeated(shapes: Floats) -> Bools:
    return np.asarray(_figure(shapes, "log_deviation") < REPEATED_DEVIATION_MAX, np.bool_)


def _impulse(shapes: Floats) -> Bools:
    lasts = _figure(shapes, "above_fifth")
    sudden = _figure(shapes, "rise") > IMPULSE_RISE_MIN
    sudden &= _figure(shapes, "fall") > IMPULSE_FALL_MIN
    return np.asarray((lasts < GLANCE_SHARE_MIN) | (sudden & (lasts < IMPULSE_SHARE_MAX)), np.bool_)


def _alone(shapes: Floats, *, by_voltage: bool) -> Bools:
    """Half-cycles that may be the only arc of their window."""
    beside = np.maximum(_figure(shapes, "log_before"), _figure(shapes, "log_after"))
    alone = beside <= ALONE_NEIGHBOUR_MAX
    alone &= _figure(shapes, "log_deviation") >= ALONE_DEVIATION_MIN
    if by_voltage:
        odd = _figure(shapes, "log_edge") > BRIGHT_EDGE_MIN
        odd |= _figure(shapes, "log_film") < SMALL_FILM_MAX
        alone &= ~(odd & (_figure(shapes, "against") > BACKWARDS_MIN))
    return np.asarray(alone, np.bool_)
