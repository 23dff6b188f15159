"""Which states of a window are right, given the truth about its half-cycles.

More than one state is accepted only where the contract itself leaves it open, each case a named
limit below: at the limit between dry and wet, without a reference or calibration, at a window's
edge. Windows with lost samples or a changing surface are not scored for state.
"""

from __future__ import annotations

import numpy as np

from edge.quantities import State
from tests.families.labelled import Bools, Label, Labelled, Recording, Surface

WET_PEAK_MA = 0.3
"""Resistive crest above which a surface is wet (the contract's limit; a design choice)."""

WET_DOUBT = 0.25
"""Within this fraction of the limit either state is right: noise decides, not the detector."""

DRY_IN_PHASE_PEAK_MA = 0.15
"""Crest of the dry current's in-phase part above which an uncalibrated unit may call it wet."""

DRY_FLOOR_PEAK_MA = 0.04
"""Without a voltage reference the contract tells wet by a floor on the fundamental alone, so any
capacitive current above this crest may honestly be called wet (flagged)."""

EDGE_HALFCYCLES = 0.3
"""An arc this near a window's edge may be counted on either side."""


def surface_states(labelled: Labelled, surface: Surface, film_ma: float) -> frozenset[State]:
    """The window states that are right for a half-cycle without arcs."""
    recording, dry = labelled.recording, labelled.truth.dry_phasor_ma
    reference = recording.voltage is not None
    if surface is Surface.DEAD_LINE:
        return frozenset({State.DE_ENERGISED} if reference else {State.DE_ENERGISED, State.UNKNOWN})
    if surface is Surface.DEAD_SENSOR:
        return frozenset({State.UNKNOWN} if reference else {State.UNKNOWN, State.DE_ENERGISED})
    if surface is Surface.OPEN_LEAD:
        lead = {State.UNKNOWN, State.DRY}
        return frozenset(lead if reference else lead | {State.DE_ENERGISED})
    if surface is Surface.UNSCORED:
        return frozenset(State)
    abnormal = {State.UNKNOWN} if surface in (Surface.ABNORMAL_DRY, Surface.ABNORMAL_WET) else set()
    return frozenset(_film_states(recording, dry, film_ma) | abnormal)


def _film_states(recording: Recording, dry: complex, film_ma: float) -> set[State]:
    """Dry, wet or either, by the film's crest and by what the recording lets anyone know."""
    calibrated = recording.dry_phasor_ma is not None
    states: set[State] = set()
    if film_ma > WET_PEAK_MA * (1 - WET_DOUBT):
        states.add(State.WET)
    if film_ma < WET_PEAK_MA * (1 + WET_DOUBT):
        states.add(State.DRY)
        crest = abs(dry) if recording.voltage is None else abs(dry.real)
        floor = DRY_FLOOR_PEAK_MA if recording.voltage is None else DRY_IN_PHASE_PEAK_MA
        known = calibrated and recording.voltage is not None
        if not known and crest * np.sqrt(2) > floor:
            states.add(State.WET)
    return states


def window_states(
    labelled: Labelled, start: float, end: float
) -> tuple[frozenset[State] | None, int, int]:
    """Accepted states of the window [start, end) in samples, and its certain and possible arcs.

    States are None where nobody can be held to one: half-cycles lost, or the surface changing.
    An arc within `EDGE_HALFCYCLES` of the edge, or doubtful, is possible but not certain.
    """
    truth, boundaries = labelled.truth, labelled.truth.boundaries
    first = max(int(np.searchsorted(boundaries, start)) - 1, 0)
    last = min(int(np.searchsorted(boundaries, end)) + 1, len(truth))
    span = slice(first, last)
    length = float(np.median(np.diff(boundaries))) if len(truth) else 1.0
    edge = EDGE_HALFCYCLES * length
    centre = truth.centre[span]
    arcing = truth.label[span] == Label.ARCING
    near = (centre > start - edge) & (centre < end + edge)
    inside = (centre > start + edge) & (centre < end - edge)
    certain = int(np.sum(arcing & inside))
    maybe = near & (arcing | (truth.label[span] == Label.DOUBTFUL))
    possible = max(certain, int(np.sum(maybe)))
    middle = (boundaries[first:last] + boundaries[first + 1 : last + 1]) / 2
    within = (middle > start) & (middle < end)
    if not within.any() or truth.lost[span][near].any():
        return None, certain, possible
    halfcycles = (end - start) / length
    polar = truth.polarity[span]
    by_polarity = [
        (int(np.sum(arcing & inside & (polar == p))), int(np.sum(maybe & (polar == p))))
        for p in (1, -1)
    ]
    states = _arcing_states(by_polarity, halfcycles)
    if possible == 0 or certain == 0:
        quiet = _quiet_states(labelled, span, within)
        if quiet is None:
            return None, certain, possible
        states |= quiet
    return frozenset(states), certain, possible


def _arcing_states(by_polarity: list[tuple[int, int]], halfcycles: float) -> set[State]:
    """Sparse or dense, or both where the arcs at the edges decide (half of either polarity)."""
    states: set[State] = set()
    dense_from = halfcycles / 4
    if any(possible >= max(dense_from - 0.5, 1) for _, possible in by_polarity):
        states.add(State.ARCING_DENSE)
    sure = any(certain >= dense_from + 0.5 for certain, _ in by_polarity)
    if not sure and sum(possible for _, possible in by_polarity) > 0:
        states.add(State.ARCING_SPARSE)
    return states


def _quiet_states(labelled: Labelled, span: slice, within: Bools) -> frozenset[State] | None:
    """States right for every half-cycle of the window; None where they contradict."""
    truth = labelled.truth
    agreed = frozenset(State)
    seen = {
        (Surface(int(surface)), round(float(film), 2))
        for surface, film in zip(
            truth.surface[span][within], truth.film_peak_ma[span][within], strict=True
        )
    }
    if any(surface is Surface.UNSCORED for surface, _ in seen):
        return None
    for surface, film in seen:
        agreed &= surface_states(labelled, surface, film)
    return agreed or None
