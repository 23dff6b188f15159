"""Which half-cycle of the truth a detector's half-cycle or window speaks of.

Without a voltage a detector's mains clock may stand up to 90 degrees off (it follows a capacitive
current), so half-cycles are paired one to one by polarity and nearness, and an arc at a window's
edge may be counted on either side; never is one arc paired twice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.families.labelled import Floats, Label, Labelled
from tests.families.outcome import HalfcycleOutcome, WindowOutcome
from tests.families.window_truth import EDGE_HALFCYCLES

NEAR_HALFCYCLES = 0.75
"""A half-cycle of the same polarity further off than this speaks of another one."""

NEAR_UNSIGNED_HALFCYCLES = 0.5
"""The same where the detector gives no polarity; a neighbour is one half-cycle away."""

Indices = npt.NDArray[np.int64]


def paired(labelled: Labelled, halfcycles: HalfcycleOutcome) -> Indices:
    """For each of the detector's half-cycles the index of the true one, or -1; one to one."""
    truth = labelled.truth
    middle = (truth.boundaries[:-1] + truth.boundaries[1:]) / 2
    length = float(np.median(np.diff(truth.boundaries)))
    said = (halfcycles.start + halfcycles.end) / 2
    found = np.full(len(said), -1, dtype=np.int64)
    away = np.full(len(said), np.inf)
    nearest = np.clip(np.searchsorted(middle, said), 0, len(middle) - 1)
    for shift in (-1, 0, 1):
        candidate = np.clip(nearest + shift, 0, len(middle) - 1)
        distance = np.abs(middle[candidate] - said) / length
        signed = halfcycles.polarity != 0
        right = ~signed | (halfcycles.polarity == truth.polarity[candidate])
        limit = np.where(signed, NEAR_HALFCYCLES, NEAR_UNSIGNED_HALFCYCLES)
        better = right & (distance < limit) & (distance < away)
        found[better], away[better] = candidate[better], distance[better]
    return _once(found, away, len(middle))


def _once(found: Indices, away: Floats, count: int) -> Indices:
    """Keeps the nearest of several that claim the same true half-cycle."""
    best = np.full(count, np.inf)
    claims = found >= 0
    np.minimum.at(best, found[claims], away[claims])
    kept = found.copy()
    kept[claims & (away > best[np.maximum(found, 0)])] = -1
    order = np.flatnonzero(kept >= 0)
    _, first = np.unique(kept[order], return_index=True)
    single = np.full(len(kept), -1, dtype=np.int64)
    single[order[first]] = kept[order[first]]
    return single


@dataclass(frozen=True, slots=True, eq=False)
class WindowCounts:
    """Half-cycle counts per window and polarity (rows: positive, negative): said and true.

    agreed: true arcs that the window's count covers. excess, missing: the rest of what was said
    and of what was true. An arc near an edge stands in the window in which it agrees; a doubtful
    one excuses an excess and is never missing. true_c: charge of the true arcing half-cycles of
    the window; settled: nothing stood near its edge and no doubt in it.
    outside: true arcs that no window covers.
    """

    agreed: Indices
    excess: Indices
    missing: Indices
    true_c: Floats
    settled: npt.NDArray[np.bool_]
    outside: int


def counted(labelled: Labelled, windows: WindowOutcome) -> WindowCounts:
    """Per window, what was said against what was true, without letting errors cancel."""
    truth = labelled.truth
    length = float(np.median(np.diff(truth.boundaries)))
    arcing, doubt = truth.label == Label.ARCING, truth.label == Label.DOUBTFUL
    home = _homes(windows, truth.centre)
    outside = int(np.sum(arcing & (home < 0) & ~_near_any(windows, truth.centre, length)))
    rows = [
        _one_polarity(windows, truth.centre[mark], doubt[mark], said, length)
        for mark, said in (
            ((arcing | doubt) & (truth.polarity > 0), windows.arcing_positive),
            ((arcing | doubt) & (truth.polarity < 0), windows.arcing_negative),
        )
    ]
    agreed, excess, missing = (np.stack([row[part] for row in rows]) for part in range(3))
    inside = arcing & (home >= 0)
    true_c = np.bincount(home[inside], truth.charge_c[inside], len(windows.start)).astype(
        np.float64
    )
    unsettled = _unsettled(windows, truth.centre[arcing | doubt], doubt[arcing | doubt], length)
    lost = home[(truth.lost | truth.clipped) & (home >= 0)]
    unsettled[lost] = True
    return WindowCounts(agreed, excess, missing, true_c, ~unsettled, outside)


def _homes(windows: WindowOutcome, at: Floats) -> Indices:
    """The window that holds each position, or -1."""
    home = np.searchsorted(windows.start, at, "right") - 1
    held = (home >= 0) & (at < windows.end[np.maximum(home, 0)])
    return np.where(held, home, -1)


def _near_any(windows: WindowOutcome, at: Floats, length: float) -> npt.NDArray[np.bool_]:
    """Whether a position lies so near a window's edge that the window may have counted it."""
    edge = EDGE_HALFCYCLES * length
    before, after = _homes(windows, at - edge), _homes(windows, at + edge)
    near: npt.NDArray[np.bool_] = (before >= 0) | (after >= 0)
    return near


def _unsettled(
    windows: WindowOutcome, at: Floats, doubt: npt.NDArray[np.bool_], length: float
) -> npt.NDArray[np.bool_]:
    mark = np.zeros(len(windows.start) + 1, dtype=bool)
    before = _homes(windows, at - EDGE_HALFCYCLES * length)
    after = _homes(windows, at + EDGE_HALFCYCLES * length)
    moved = (before != after) | doubt
    mark[before[moved]] = True
    mark[after[moved]] = True
    return mark[:-1]


def _one_polarity(
    windows: WindowOutcome,
    at: Floats,
    doubt: npt.NDArray[np.bool_],
    said: Floats,
    length: float,
) -> tuple[Indices, Indices, Indices]:
    """Agreed, excess and missing counts of one polarity, windows taken from left to right.

    An arc at an edge goes to the left window while that one still lacks what it said, else to the
    right: the best that any assignment can do, since each moves across one edge only.
    """
    count = len(windows.start)
    left = _homes(windows, at - EDGE_HALFCYCLES * length)
    right = _homes(windows, at + EDGE_HALFCYCLES * length)
    firm, loose = ~doubt, np.zeros(count + 1, dtype=np.int64)
    fixed = np.bincount(left[firm & (left == right) & (left >= 0)], minlength=count)
    moving = firm & (left != right)
    np.add.at(loose, np.where(moving, left, count), 1)  # left == -1 lands in the last place too
    beside = np.zeros(count + 1, dtype=np.int64)
    np.add.at(beside, np.where(moving & (right >= 0) & (left < 0), right, count), 1)
    excuse = np.bincount(left[doubt & (left >= 0)], minlength=count)
    excuse = excuse + np.bincount(right[doubt & (right >= 0) & (left != right)], minlength=count)
    follows = np.r_[windows.start[1:] - windows.end[:-1] < length, False] if count else []
    return _settle(said, fixed, loose[:count], beside[:count], excuse, follows)


def _settle(
    said: Floats,
    fixed: Indices,
    loose: Indices,
    beside: Indices,
    excuse: Indices,
    follows: npt.NDArray[np.bool_] | list[bool],
) -> tuple[Indices, Indices, Indices]:
    agreed, excess, missing = (np.zeros(len(fixed), dtype=np.int64) for _ in range(3))
    carried = 0
    for window, count in enumerate(said.astype(np.int64)):
        own = int(fixed[window]) + carried
        lacks = max(int(count) - own, 0)
        optional = int(loose[window])
        taken = min(lacks, optional)
        onward = optional - taken if follows[window] else 0
        spare = min(max(lacks - taken, 0), int(beside[window]))
        own += taken + spare
        agreed[window] = min(own, int(count))
        excess[window] = max(int(count) - own - int(excuse[window]), 0)
        missing[window] = max(own - int(count), 0)
        carried = onward
    return agreed, excess, missing
