"""What the truth of a recording lets a person expect, whatever any detector says.

State shares hold whichever zero the windows begin at: all alignments are tried, and in each every
window gets the states that the labelled families accept for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from edge.quantities import WINDOW_CYCLES, State
from tests.families.labelled import Bools, Floats, Label, Labelled, Surface
from tests.families.window_truth import window_states
from tests.replay.stretches import Stretch, as_replayed, between_gaps, current_ma

STRONG_MA = 100.0
"""Level of the fast path of `arcing` and of `near-margin` without creepage (edge's defaults)."""

STRONG_HALFCYCLES = 3
CLIPPED_HALFCYCLES = 3
SILENCE_S = 2.0

FIRST_ZERO_WITHIN = (0.0, 0.5, 1.0, 1.5, 2.0)
"""Half-cycles from the first zero of the voltage to the zero that windows count from: without a
reference it is the current's, which may stand by a quarter of a cycle apart."""

LOST_BESIDE_ARCS = frozenset({State.UNKNOWN, State.ARCING_SPARSE, State.ARCING_DENSE})

LEAST_WINDOW = 1.0
"""Half-cycles of the shortest remainder that could be a window of its own."""

LONGEST_WINDOW = 27.0
"""Half-cycles of the longest window: twelve cycles with what stands before and behind them."""


@dataclass(frozen=True, slots=True)
class Share:
    """Least and most share of the windows' time in one state."""

    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Facts:
    """Facts of one insulator's recording. Counts are half-cycles; doubtful ones may fall either
    way. pieces: records, and parts of records between gaps. arcing_charge_c: of the certain arcing
    half-cycles as the sensor delivered it, with what it clips and what its droop takes.
    spikes: half-cycles with a discharge that can be seen.
    alarms: ids of the alarms that this recording must raise; all others must stay out.
    """

    seconds: float
    pieces: int
    halfcycles: int
    arcing: int
    arcing_positive: int
    arcing_negative: int
    doubtful: int
    spikes: int
    clipped: int
    arcing_charge_c: float
    states: dict[State, Share]
    alarms: tuple[str, ...]


def facts_of(stretches: Sequence[Stretch]) -> Facts:
    """Facts of all records of a feed together; what a gap swallowed does not count at all."""
    told = [as_replayed(part) for one in stretches for part in between_gaps(one.labelled)]
    truths = [one.truth for one in told]
    arcing = [_certain(one) for one in told]
    return Facts(
        seconds=sum(_covered_s(one) for one in told),
        pieces=len(told),
        halfcycles=sum(_halfcycles(one) for one in told),
        arcing=sum(int(mark.sum()) for mark in arcing),
        arcing_positive=_of_polarity(told, arcing, 1),
        arcing_negative=_of_polarity(told, arcing, -1),
        doubtful=sum(int(_doubtful(one).sum()) for one in told),
        spikes=sum(int((t.label == Label.CORONA_SPIKE).sum()) for t in truths),
        clipped=sum(int(t.clipped.sum()) for t in truths),
        arcing_charge_c=sum(
            float(_charges_c(one)[mark].sum()) for one, mark in zip(told, arcing, strict=True)
        ),
        states=_shares(told),
        alarms=tuple(sorted(alarms_of(told))),
    )


def _charges_c(labelled: Labelled) -> Floats:
    """Delivered charge of each half-cycle [C], integral of |i| between zeros of the voltage."""
    size = np.abs(current_ma(labelled.recording))
    running = np.concatenate([[0.0], np.cumsum(size)])
    at = np.clip(labelled.truth.boundaries, 0, len(size))
    until = np.interp(at, np.arange(len(running)), running)
    return np.asarray(np.diff(until) / labelled.recording.description.rate_hz / 1000)


def _of_polarity(told: list[Labelled], marks: list[Bools], sign: int) -> int:
    return sum(
        int((mark & (one.truth.polarity == sign)).sum())
        for one, mark in zip(told, marks, strict=True)
    )


def _doubtful(labelled: Labelled) -> Bools:
    """Doubtful by the generator, or an arc beside lost samples."""
    truth = labelled.truth
    lost_arc = (truth.label == Label.ARCING) & truth.lost
    return np.asarray((truth.label == Label.DOUBTFUL) | lost_arc)


def _covered_s(labelled: Labelled) -> float:
    return len(labelled.recording.samples) / labelled.recording.description.rate_hz


def _halfcycles(labelled: Labelled) -> int:
    edges = labelled.truth.boundaries
    inside = (edges[:-1] >= 0) & (edges[1:] <= len(labelled.recording.samples))
    return int((inside & ~labelled.truth.lost).sum())


def _shares(told: list[Labelled]) -> dict[State, Share]:
    """Shares of all stretches together; each stretch has an alignment of its own."""
    least, most = dict.fromkeys(State, 0.0), dict.fromkeys(State, 0.0)
    total = sum(_covered_s(one) for one in told)
    for one in told:
        rows = [_shares_in(one, borders) for borders in _alignments(one)]
        for state in State:
            least[state] += _covered_s(one) * min(row[state].least for row in rows)
            most[state] += _covered_s(one) * max(row[state].most for row in rows)
    return {
        state: Share(least[state] / total, min(1.0, most[state] / total))
        for state in State
        if most[state] > 0
    }


def _alignments(labelled: Labelled) -> list[Floats]:
    """Borders of windows [samples], for each way in which a stretch may be divided."""
    edges, count = labelled.truth.boundaries, len(labelled.recording.samples)
    span = 2 * WINDOW_CYCLES[round(labelled.recording.description.nominal_hz)]
    index = np.arange(len(edges), dtype=np.float64)
    first = float(np.interp(0.0, edges, index))
    halfcycle = float(np.median(np.diff(edges)))
    found = []
    for shift in FIRST_ZERO_WITHIN:
        inner = np.arange(np.ceil(first) + shift + span, index[-1], span)
        borders = np.interp(inner, index, edges)
        borders = borders[borders < count - LEAST_WINDOW * halfcycle]
        found.append(np.r_[0.0, borders, count])
        if len(borders):  # a remainder may be joined to the last window
            found.append(np.r_[0.0, borders[:-1], count])
    return [one for one in found if np.diff(one).max() <= LONGEST_WINDOW * halfcycle]


def _shares_in(labelled: Labelled, borders: Floats) -> dict[State, Share]:
    lengths = np.diff(borders) / borders[-1]
    accepted = [_accepted(labelled, start, end) for start, end in pairwise(borders.tolist())]
    return {
        state: Share(
            sum(float(w) for w, said in zip(lengths, accepted, strict=True) if said == {state}),
            sum(float(w) for w, said in zip(lengths, accepted, strict=True) if state in said),
        )
        for state in State
    }


def _accepted(labelled: Labelled, start: float, end: float) -> frozenset[State]:
    """States of a window; where samples are lost beside certain arcs: arcing or unknown."""
    states, certain, _ = window_states(labelled, start, end)
    if states is not None:
        return states
    return LOST_BESIDE_ARCS if certain else frozenset(State)


def alarms_of(told: Sequence[Labelled]) -> set[str]:
    """Alarms that are due at once: those that need no delay, by the physics alone.

    A recording of seconds cannot raise an alarm with a delay of minutes.
    """
    raised = set()
    strong = sum(int((_peaks_ma(one) > STRONG_MA)[_certain(one)].sum()) for one in told)
    if strong >= 1:
        raised.add("near-margin")
    if strong >= STRONG_HALFCYCLES:
        raised.add("arcing")
    if sum(int(one.truth.clipped.sum()) for one in told) >= CLIPPED_HALFCYCLES:
        raised.add("over-range")
    if _dies_while_arcing(told[-1]):
        raised.add("flashover-suspected")
    return raised


def _certain(labelled: Labelled) -> Bools:
    return np.asarray((labelled.truth.label == Label.ARCING) & ~labelled.truth.lost)


def _peaks_ma(labelled: Labelled) -> Floats:
    """Highest absolute delivered current of each half-cycle [mA]."""
    size = np.abs(current_ma(labelled.recording))
    first = np.clip(np.ceil(labelled.truth.boundaries[:-1]), 0, len(size) - 1).astype(np.int64)
    return np.maximum.reduceat(size, first)


def _dies_while_arcing(labelled: Labelled) -> bool:
    """Whether the line is dead at the end, and an arc burned within two seconds before it died."""
    truth = labelled.truth
    dead = truth.surface == Surface.DEAD_LINE
    if not dead.any() or not dead[-1]:
        return False
    rate_hz = labelled.recording.description.rate_hz
    died_s = truth.boundaries[int(np.argmax(dead))] / rate_hz
    burned = (truth.label == Label.ARCING) & ~dead
    return bool(burned.any()) and died_s - truth.centre[burned].max() / rate_hz <= SILENCE_S
