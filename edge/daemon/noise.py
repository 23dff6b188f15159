"""How quiet the converter is: the sample noise of each current channel. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from math import comb, sqrt

import numpy as np

from edge.samples import ChannelKind, SampleBlock, SignalDescription

SAMPLES_MAX = 4_096
"""Of each block no more samples are looked at; noise is the same in the rest."""

SAMPLES_MIN = 64
"""Fewer samples say nothing."""

ORDER = 4
"""Differences of this order leave of 50 Hz at 4.8 kS/s a part in 50,000, and of noise all."""

_GAIN = sqrt(sum(comb(ORDER, k) ** 2 for k in range(ORDER + 1)))
_QUARTILE = 0.6745
"""Half of all normal deviates are smaller than so many standard deviations."""


def noise_na(block: SampleBlock, description: SignalDescription) -> dict[str, int]:
    """One standard deviation of white sample noise by channel [nA of primary current].

    By the median of differences, so that arcs and spikes do not count. A channel of which values
    are missing is left out; 0 where nothing moves, which no living converter does.
    """
    rows = block.samples[:SAMPLES_MAX]
    if len(rows) < SAMPLES_MIN:
        return {}
    found: dict[str, int] = {}
    for place, channel in enumerate(description.channels):
        missing = block.missing is not None and bool(block.missing[: len(rows), place].any())
        if channel.kind is not ChannelKind.CURRENT or missing:
            continue
        moved = np.abs(np.diff(rows[:, place].astype(np.float64), n=ORDER))
        spread = float(np.median(moved)) / _QUARTILE / _GAIN
        if np.isfinite(spread):
            found[channel.name] = round(spread * abs(channel.gain) * 1e6)
    return found


def quieter(known: Mapping[str, int], found: Mapping[str, int]) -> dict[str, int]:
    """The lower of both for each channel: the floor, whatever else the signal does."""
    return {name: min(known.get(name, units), units) for name, units in {**known, **found}.items()}
