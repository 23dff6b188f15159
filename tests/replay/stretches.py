"""What a recording is made of before it is written: labelled stretches of one signal."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.families.labelled import Floats, Label, Labelled, Recording, Truth


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """One record of a feed. start_utc_ns: of its first sample. quality: its clock's word on itself
    (time quality code of revision 2013)."""

    labelled: Labelled
    start_utc_ns: int
    quality: str = "0"

    @property
    def seconds(self) -> float:
        """Length from the first sample to the end, gaps included [s]."""
        recording = self.labelled.recording
        return len(recording.samples) / recording.description.rate_hz


def excerpt(labelled: Labelled, first: int, end: int) -> Labelled:
    """Samples `first` to `end` of a labelled recording without gaps, and the truth about them.

    An arc in a half-cycle that the cut goes through is doubtful from then on: nobody could tell.
    """
    whole = labelled.recording
    assert not whole.gaps and 0 <= first < end <= len(whole.samples)
    missing = None if whole.missing is None else whole.missing[first:end]
    recording = replace(whole, samples=whole.samples[first:end], missing=missing)
    edges = labelled.truth.boundaries
    kept = np.flatnonzero((edges[1:] > first) & (edges[:-1] < end))
    truth = _truth_of(labelled.truth, slice(int(kept[0]), int(kept[-1]) + 1), first, end)
    return replace(labelled, recording=recording, truth=truth)


def between_gaps(labelled: Labelled) -> list[Labelled]:
    """What was sampled, a part for each stretch between gaps."""
    whole = labelled.recording
    bare = replace(labelled, recording=replace(whole, gaps=()))
    return [excerpt(bare, block.counter, block.counter_end) for block in whole.blocks()]


def _truth_of(truth: Truth, kept: slice, first: int, end: int) -> Truth:
    edges = truth.boundaries[kept.start : kept.stop + 1] - first
    label = truth.label[kept].copy()
    cut = (edges[:-1] < 0) | (edges[1:] > end - first)
    label[cut & (label == Label.ARCING)] = Label.DOUBTFUL
    return Truth(
        edges,
        label,
        truth.surface[kept],
        truth.polarity[kept],
        truth.charge_c[kept],
        truth.arc_charge_c[kept],
        truth.centre[kept] - first,
        truth.film_peak_ma[kept],
        truth.clipped[kept],
        truth.lost[kept],
        truth.dry_phasor_ma,
    )


def as_replayed(labelled: Labelled) -> Labelled:
    """What a replay without settings may know: no dry phasor is calibrated."""
    return replace(labelled, recording=replace(labelled.recording, dry_phasor_ma=None))


def current_ma(recording: Recording) -> Floats:
    """The current that was delivered [mA], by the coarsest range."""
    column = recording.ranges[-1]
    channel = recording.description.channels[column]
    return np.asarray(recording.samples[:, column] * channel.gain + channel.offset)
