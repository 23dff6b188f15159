"""The scorer: a detector's outcomes against the truth, as sums that never cancel.

`score` looks at one recording; scores add up (`+`) over recordings and families, and every figure
is made from the sums. Doubtful-by-physics half-cycles are neither right nor wrong; how many there
were is part of the score. The
requirement's limits are in `table`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields

import numpy as np

from edge.quantities import State
from tests.families.bounds import upper_bound
from tests.families.labelled import Floats, Kind, Label, Labelled
from tests.families.matching import WindowCounts, counted, paired
from tests.families.outcome import ARCING, HalfcycleOutcome, Outcome, WindowOutcome
from tests.families.window_truth import window_states

BINS = 10

HALFCYCLES_OF_A_WINDOW = 20
"""Arcs that no window covers are missed windows, one for each so many of them or part of it."""

COUNT_LEAST = 100
"""A recording with at least this many arcing half-cycles is held to its count and charge."""


@dataclass(frozen=True, slots=True)
class Tally:
    """Right, wrongly said and missed."""

    agreed: int = 0
    excess: int = 0
    missing: int = 0

    def __add__(self, other: Tally) -> Tally:
        return Tally(
            self.agreed + other.agreed,
            self.excess + other.excess,
            self.missing + other.missing,
        )

    @property
    def precision(self) -> float | None:
        """Share of what was said that is true; None where nothing was said."""
        said = self.agreed + self.excess
        return self.agreed / said if said else None

    @property
    def recall(self) -> float | None:
        """Share of what is true that was said; None where nothing is true."""
        true = self.agreed + self.missing
        return self.agreed / true if true else None


def _no_bins() -> Floats:
    return np.zeros((3, BINS))


@dataclass(frozen=True, slots=True, eq=False)
class Score:
    """Sums over recordings.

    windows, halfcycles: arcing. states_right of states. harmless: half-cycles without arc in
    harmless recordings; false_windows: arcing windows said there. said, doubtful: half-cycles
    judged, and called doubtful. excused: doubtful by physics. spikes_true, spikes_said: half-cycles
    with corona spikes. bins: rows number, sum of probability, number of arcs, by tenth of
    probability. count_errors: |said - true| / true of each recording with `COUNT_LEAST` arcs.
    charge_miss_c, charge_c: sum of |said - true| over settled windows whose count agrees, and of
    the true charge there. charge_errors: |said - true| / true of each unclipped recording's total.
    """

    recordings: int = 0
    windows: Tally = Tally()
    halfcycles: Tally = Tally()
    states: int = 0
    states_right: int = 0
    harmless: int = 0
    false_windows: int = 0
    said: int = 0
    doubtful: int = 0
    excused: int = 0
    spikes_true: int = 0
    spikes_said: int = 0
    charge_miss_c: float = 0.0
    charge_c: float = 0.0
    bins: Floats = field(default_factory=_no_bins)
    count_errors: tuple[float, ...] = ()
    charge_errors: tuple[float, ...] = ()

    def __add__(self, other: Score) -> Score:
        return Score(*(getattr(self, f.name) + getattr(other, f.name) for f in fields(Score)))

    @property
    def state_share(self) -> float | None:
        """Share of scored windows whose state is right."""
        return self.states_right / self.states if self.states else None

    @property
    def calibration(self) -> float | None:
        """Weighted mean distance of stated probability and share of arcs over the tenths."""
        number = self.bins[0].sum()
        if number == 0:
            return None
        return float(np.sum(np.abs(self.bins[1] - self.bins[2])) / number)

    @property
    def calibration_between(self) -> float | None:
        """The same without the first and last tenth, where nearly all half-cycles lie."""
        number = self.bins[0, 1:-1].sum()
        if number == 0:
            return None
        return float(np.sum(np.abs(self.bins[1, 1:-1] - self.bins[2, 1:-1])) / number)

    @property
    def charge_error(self) -> float | None:
        """Relative error of the arcing charge over windows whose count is right, uncancelled."""
        return self.charge_miss_c / self.charge_c if self.charge_c > 0 else None

    @property
    def doubtful_share(self) -> float | None:
        """Share of half-cycles called doubtful."""
        return self.doubtful / self.said if self.said else None

    @property
    def false_per_million(self) -> tuple[float, float] | None:
        """False arcing windows in a million harmless half-cycles, and the 95 % upper bound."""
        if self.harmless == 0:
            return None
        scale = 1e6 / self.harmless
        return self.false_windows * scale, upper_bound(self.false_windows, self.harmless) * 1e6


def score(labelled: Labelled, outcome: Outcome) -> Score:
    """The score of one recording."""
    windows = outcome.windows
    matched = counted(labelled, windows)
    tally, states, right, false = _window_tally(labelled, windows, matched.outside)
    halves, bins = _window_halves(matched), _no_bins()
    if outcome.halfcycles is not None:
        halves, bins = _halfcycle_tally(labelled, outcome.halfcycles)
    agree = matched.settled & (matched.excess.sum(0) == 0) & (matched.missing.sum(0) == 0)
    agree &= matched.agreed.sum(0) > 0
    miss = np.abs(windows.arcing_charge_c - matched.true_c)[agree]
    truth = labelled.truth
    quiet = int(np.sum((truth.label == Label.HARMLESS) | (truth.label == Label.CORONA_SPIKE)))
    return Score(
        1,
        tally,
        halves,
        states,
        right,
        quiet if labelled.kind is not Kind.ARCING else 0,
        false if labelled.kind is not Kind.ARCING else 0,
        int(windows.halfcycles.sum()),
        int(windows.doubtful.sum()),
        int(np.sum(truth.label == Label.DOUBTFUL)),
        int(np.sum(truth.label == Label.CORONA_SPIKE)),
        int(windows.spike.sum()),
        float(miss.sum()),
        float(matched.true_c[agree].sum()),
        bins,
        *_recording_errors(labelled, windows),
    )


def _window_tally(
    labelled: Labelled, windows: WindowOutcome, outside: int
) -> tuple[Tally, int, int, int]:
    """Arcing windows; windows scored for state, and right; arcing ones where nothing can burn.

    An arc at an edge makes neither of the two windows wrong; the half-cycle count holds it.
    """
    agreed = excess = missing = states = right = 0
    for start, end, state in zip(windows.start, windows.end, windows.state, strict=True):
        accepted, certain, possible = window_states(labelled, float(start), float(end))
        said = state in (State.ARCING_SPARSE, State.ARCING_DENSE)
        agreed += said and possible > 0
        excess += said and possible == 0
        missing += not said and certain > 0
        if accepted is not None:
            states += 1
            right += state in accepted
    uncovered = -(-outside // HALFCYCLES_OF_A_WINDOW)
    return Tally(agreed, excess, missing + uncovered), states, right, excess


def _window_halves(matched: WindowCounts) -> Tally:
    """Half-cycle counts of windows, for a program that tells no more than these."""
    return Tally(
        int(matched.agreed.sum()),
        int(matched.excess.sum()),
        int(matched.missing.sum()) + matched.outside,
    )


def _halfcycle_tally(labelled: Labelled, said: HalfcycleOutcome) -> tuple[Tally, Floats]:
    """Arcing half-cycles paired one to one, and the tenths of the probability."""
    truth = labelled.truth
    pair = paired(labelled, said)
    label = np.where(pair >= 0, truth.label[np.maximum(pair, 0)], Label.HARMLESS)
    burnt, doubt = label == Label.ARCING, label == Label.DOUBTFUL
    arcing = said.verdict == ARCING
    agreed = int(np.sum(arcing & burnt))
    tally = Tally(
        agreed,
        int(np.sum(arcing & ~burnt & ~doubt)),
        int(np.sum(truth.label == Label.ARCING)) - agreed,
    )
    kept = ~doubt
    tenth = np.minimum((said.probability[kept] * BINS).astype(np.int64), BINS - 1)
    bins = np.stack(
        [
            np.bincount(tenth, minlength=BINS),
            np.bincount(tenth, said.probability[kept], BINS),
            np.bincount(tenth, burnt[kept], BINS),
        ]
    ).astype(float)
    return tally, bins


def _recording_errors(
    labelled: Labelled, windows: WindowOutcome
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Relative error of count and of arcing charge of a recording with enough arcs.

    Held to neither where the truth leaves more than a twentieth of the arcs in doubt; not to the
    charge where samples are clipped: what is seen is then less than what flowed.
    """
    truth = labelled.truth
    arcing = truth.label == Label.ARCING
    true = int(arcing.sum())
    doubt = int(np.sum(truth.label == Label.DOUBTFUL))
    if true < COUNT_LEAST or doubt > true / 20:
        return (), ()
    said = float(windows.arcing_positive.sum() + windows.arcing_negative.sum())
    count_error = max(abs(said - true - doubt / 2) - doubt / 2, 0.0) / true
    if truth.clipped.any():
        return (count_error,), ()
    charge = float(truth.charge_c[arcing].sum())
    return (count_error,), (abs(float(windows.arcing_charge_c.sum()) - charge) / charge,)
