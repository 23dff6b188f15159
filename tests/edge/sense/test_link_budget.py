"""The published link budget is the computed one, and real streams keep it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from edge.samples import (
    AnchorSource,
    Channel,
    ChannelKind,
    SampleBlock,
    SignalDescription,
    SlowReading,
    TimeAnchor,
)
from edge.sense import frames
from edge.sense.link_budget import TABLE_CHANNELS, TABLE_RATES_HZ, budget, budget_table
from edge.sense.link_player import play

README = Path(__file__).parents[3] / "edge" / "firmware" / "README.md"


def test_the_table_in_the_firmwares_readme_is_the_computed_one():
    assert budget_table() in README.read_text()


def test_nine_channels_at_the_highest_rate_have_a_line():
    assert budget(9, 25_600.0, 2).line == "USB full speed"
    with pytest.raises(ValueError, match="no line"):
        budget(16 * 64, 25_600.0, 4)


@pytest.mark.parametrize("rate_hz", TABLE_RATES_HZ)
@pytest.mark.parametrize("count", [TABLE_CHANNELS[0], TABLE_CHANNELS[-1]])
@pytest.mark.parametrize("each", [2, 4])
def test_a_second_of_the_worst_signal_keeps_the_budget(rate_hz, count, each):
    """No zero byte in the samples: COBS at its worst. Names as long as an insulator's may be."""
    channels = tuple(Channel(f"{n:048d}", ChannelKind.CURRENT, "L1") for n in range(count))
    rows = int(rate_hz)
    ones = np.full((rows, count), -1, np.int16 if each == 2 else np.int32)
    readings = dict.fromkeys(frames.READING_CODES, 1)
    items = [
        TimeAnchor(0, 1, 1, AnchorSource.GNSS),
        SampleBlock(0, ones),
        SlowReading(rows, readings),
    ]
    sent: list[bytes] = []
    play(items, SignalDescription(rate_hz, 50.0, channels), sent.append)
    total = sum(map(len, sent))
    allowed = budget(count, rate_hz, each).bytes_per_s
    assert 0.75 * allowed < total <= allowed
