"""What every labelled recording must be, whichever generator made it."""

from __future__ import annotations

import numpy as np

from tests.families.labelled import MISSING_CODE, Labelled

OFF_NOMINAL_HZ = 1.01


def assert_codes_fit_and_truth_covers(one: Labelled) -> None:
    """Codes within their converter, half-cycles over the whole record, mains within 1 Hz."""
    signal, samples, truth = one.recording.description, one.recording.samples, one.truth
    for column, channel in enumerate(signal.channels):
        present = samples[:, column][samples[:, column] != MISSING_CODE]
        assert channel.raw_min is not None and channel.raw_max is not None
        assert present.min() >= channel.raw_min and present.max() <= channel.raw_max
    assert truth.boundaries[0] <= 0 and truth.boundaries[-1] >= len(samples)
    hertz = signal.rate_hz / np.diff(truth.boundaries) / 2
    assert np.all(np.abs(hertz - signal.nominal_hz) <= OFF_NOMINAL_HZ)
