"""The player's bytes are what a source delivered, whatever blocks it came in."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.samples import (
    AnchorSource,
    Channel,
    ChannelKind,
    SampleBlock,
    SignalDescription,
    SlowReading,
    StreamEnd,
    TimeAnchor,
)
from edge.sense import frames, link_player
from edge.sense.link_player import play, player_of
from tests.edge.sense.link_builders import CHANNELS, RATE_HZ, blocks, codes, received

SIGNALS = SignalDescription(float(RATE_HZ), 50.0, CHANNELS)


def played(items, description=SIGNALS):
    sent: list[bytes] = []
    play(items, description, sent.append)
    return received(b"".join(sent))


def values(items):
    """Samples and masks by counter, whatever the blocks."""
    by_counter = {}
    for block in blocks(items):
        mask = np.zeros(block.samples.shape, bool) if block.missing is None else block.missing
        for row in range(len(block.samples)):
            by_counter[block.counter + row] = (tuple(block.samples[row]), tuple(mask[row]))
    return by_counter


@st.composite
def sources(draw: st.DrawFn):
    """Blocks of odd sizes with gaps, masks, anchors and readings between them."""
    counter, items = draw(st.integers(0, 1 << 40)), []
    for _ in range(draw(st.integers(0, 8))):
        what = draw(st.sampled_from(["block", "block", "gap", "anchor", "slow", "masked", "wide"]))
        rows = draw(st.integers(1, 400))
        if what == "gap":
            counter += rows
        elif what == "anchor":
            source = draw(st.sampled_from(AnchorSource))
            items.append(TimeAnchor(counter, 10**18 + rows, rows, source, draw(st.booleans())))
        elif what == "slow":
            items.append(SlowReading(counter, {"rh_cpct": rows, "supply_mv": 12_000 + rows}))
        else:
            dtype = np.int32 if what == "wide" else np.int16
            mask = codes(counter, rows) % 7 == 0 if what == "masked" else None
            items.append(SampleBlock(counter, codes(counter, rows).astype(dtype), mask))
            counter += rows
    return items


@given(sources())
def test_a_source_comes_through_the_link_as_it_was(items):
    state, came = played(items)
    assert state.hello is not None and state.hello.description == SIGNALS
    assert values(came) == values(items)
    beside = [item for item in items if not isinstance(item, SampleBlock)]
    assert [i for i in came if not isinstance(i, SampleBlock)][:-1] == beside
    assert isinstance(came[-1], StreamEnd)
    for item in came:
        if isinstance(item, TimeAnchor):
            place = came.index(item)
            assert all(block.counter_end <= item.counter for block in blocks(came[:place]))


def test_a_hello_goes_out_each_second_of_signal_for_a_receiver_that_joins_late():
    sent: list[bytes] = []
    rows = 3 * RATE_HZ
    play([SampleBlock(0, codes(0, rows))], SIGNALS, sent.append)
    line = b"".join(sent)
    _, late = received(line[len(line) // 2 :])
    first = blocks(late)[0].counter
    assert rows // 2 <= first <= rows // 2 + RATE_HZ


def test_frames_hold_at_least_25_ms_of_signal():
    player = player_of(SIGNALS, boot=1)
    assert player.hello.frame_s >= frames.FRAME_S_MIN
    _, few = link_player.step(player, SampleBlock(0, codes(0, 119)))
    _, many = link_player.step(player, SampleBlock(0, codes(0, 120)))
    assert few == b"" and len(many) > 720


def test_the_sources_own_end_is_the_last_word():
    state, came = played([SampleBlock(0, codes(0, 5)), StreamEnd(5, "record ended; ü" * 30)])
    assert isinstance(came[-1], StreamEnd) and came[-1].reason.startswith("record ended; ü")
    assert state.counts["samples"] == 5 and len(came) == 2


@pytest.mark.parametrize(
    ("description", "items", "text"),
    [
        (SIGNALS, [SampleBlock(0, codes(0, 5).astype(np.float32))], "int16 and int32"),
        (SIGNALS, [SlowReading(0, {"peak_ua": 1})], "no code for the reading"),
        (SignalDescription(4_800.0, 50.0, CHANNELS * 6), [], "at most 16"),
        (
            SignalDescription(
                4_800.0, 50.0, (Channel("n", ChannelKind.CURRENT, raw_min=0.5, raw_max=1.0),)
            ),
            [],
            "whole number",
        ),
    ],
)
def test_what_the_link_cannot_carry_is_said_at_the_sender(description, items, text):
    with pytest.raises(ValueError, match=text):
        played(items, description)
