"""Frames to sample blocks, anchors and readings: counters, gaps, restarts, versions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from edge.samples import AnchorSource, SlowReading, StreamEnd, TimeAnchor
from edge.sense import frames, framing, reception
from edge.sense.frames import Anchor, Bye, HostHello, Slow, Status
from edge.sense.framing import wire_frame
from edge.sense.reception import ANCHORS_HELD_MAX, RECEPTION_COUNTS, Reception
from tests.edge.sense.link_builders import (
    CHANNELS,
    RATE_HZ,
    ROWS,
    anchor,
    assert_true_codes,
    blocks,
    bodies,
    hello,
    received,
    samples,
    wire,
)


def told(sent, boot=7, sequence=0, state=None, now_s=0.0):
    return reception.step(state or Reception(), bodies(sent, boot, sequence), now_s)


def test_neighbouring_frames_are_one_block_of_the_sent_values():
    state, items = told([hello(), samples(0), samples(ROWS), samples(2 * ROWS)])
    (block,) = items
    assert assert_true_codes([block]) == 3 * ROWS
    assert state.hello is not None and state.hello.description.channels == CHANNELS
    assert block.samples.dtype == np.int16 and block.missing is None


def test_lost_frames_are_a_jump_of_the_counter_and_are_counted():
    _, first = told([hello(), samples(0)])
    state, items = told([hello(), samples(0), samples(ROWS), samples(4 * ROWS)])
    assert [block.counter for block in blocks(items)] == [0, 4 * ROWS]
    assert state.counts["samples_lost"] == 2 * ROWS
    assert "frames_lost" not in state.counts  # the sender itself never sent them
    state, _ = told([samples(7 * ROWS)], sequence=9, state=state)
    assert state.counts["frames_lost"] == 5 and blocks(first)


def test_the_sequence_may_wrap_and_may_fall_without_being_counted_as_loss():
    state, _ = told([hello(), samples(0)], sequence=(1 << 32) - 2)
    state, _ = told([samples(ROWS)], sequence=0, state=state)
    state, _ = told([samples(2 * ROWS)], sequence=0, state=state)
    assert "frames_lost" not in state.counts


def test_nothing_is_taken_before_the_hello_of_its_boot():
    state, items = told([samples(0), anchor(0), Slow(0, ((1, 5),))])
    assert items == () and state.counts["frames_before_hello"] == 3
    state, items = told([samples(0)], boot=8, state=told([hello()])[0])
    assert items == () and state.counts["frames_before_hello"] == 1


def test_rows_already_delivered_are_dropped_and_counted():
    state, items = told([hello(), samples(0), samples(0), samples(ROWS)])
    assert assert_true_codes(blocks(items)) == 2 * ROWS
    assert state.counts["samples_repeated"] == ROWS


def test_after_a_restart_the_counter_goes_on_by_the_time_that_passed():
    state, _ = told([hello(), anchor(0), samples(0)], now_s=50.0)
    sent = [hello(), anchor(40, 1_700_000_100_000_000_000), samples(40)]
    state, items = told(sent, boot=99, state=state, now_s=53.0)
    start = ROWS + 3 * RATE_HZ
    first, block = items
    assert first == TimeAnchor(start, 1_700_000_100_000_000_000, 1_000, AnchorSource.GNSS, True)
    assert block.counter == start and assert_true_codes([block], shift=start - 40) == ROWS
    assert state.counts["restarts"] == 1 and "samples_lost" not in state.counts


def test_a_restart_in_no_time_is_still_a_gap_of_one_sample():
    state, _ = told([hello(), samples(0)], now_s=50.0)
    _, (block,) = told([hello(), samples(0)], boot=99, state=state, now_s=50.0)
    assert block.counter == ROWS + 1


def test_anchors_of_a_restart_wait_for_its_samples_and_only_so_many():
    state, _ = told([hello(), samples(0)])
    sent = [hello(), *(anchor(n) for n in range(20))]
    state, items = told(sent, boot=99, state=state)
    assert items == () and len(state.held) == ANCHORS_HELD_MAX
    _, items = told([samples(20)], boot=99, state=state)
    assert len(items) == ANCHORS_HELD_MAX + 1
    counters = [item.counter for item in items]
    assert counters == sorted(counters) and counters[0] > 0


def test_a_restart_before_any_samples_is_followed_from_its_own_counter():
    state, _ = told([hello()])
    _, (block,) = told([hello(), samples(500)], boot=99, state=state)
    assert block.counter == 500


def test_another_major_ends_the_stream_and_says_what_to_do():
    state, (end,) = told([hello(major=2), samples(0)])
    assert isinstance(end, StreamEnd) and "protocol 2.0" in end.reason and "update" in end.reason
    assert state.final


def test_a_required_capability_that_is_unknown_is_refused_an_optional_one_ignored():
    state, (end,) = told([hello(capabilities=1 << 20)])
    assert "0x00100000" in end.reason and state.final
    state, items = told([hello(capabilities=1 << 9, minor=4), samples(0)])
    assert len(blocks(items)) == 1 and not state.ended


def test_other_signals_end_the_stream_for_good():
    state, _ = told([hello(), samples(0)])
    state, (end,) = told([hello(channels=CHANNELS[:2])], boot=99, state=state)
    assert "restart the program" in end.reason and state.final and end.counter == ROWS


def test_unknown_types_are_skipped_and_counted_and_the_sequence_stays_whole():
    known = bodies([hello(), samples(0), samples(ROWS), samples(2 * ROWS)])
    later = [bytes([77]) + body[1:] for body in known[2:3]]
    state, items = received(b"".join(map(wire_frame, [*known[:2], *later, known[3]])))
    assert [block.counter for block in blocks(items)] == [0, 2 * ROWS]
    assert state.counts["unknown_types"] == 1 and "refused_content" not in state.counts
    assert "frames_lost" not in state.counts and state.refusal == ""


def test_our_own_echo_is_no_news():
    state, items = told([hello(), HostHello(), samples(0)])
    assert len(items) == 1 and state.counts["unknown_types"] == 1


def test_the_channels_at_fault_are_absent_and_the_status_is_counted():
    bits = Status.OVERRANGE | Status.SENSOR_FAULT | Status.SUPPLY_DIP | Status.BUFFER_OVERRUN
    faulty = samples(0, status=int(bits), fault_channels=0b10)
    state, (block,) = told([hello(), faulty])
    assert block.missing is not None
    assert block.missing[:, 1].all() and not block.missing[:, [0, 2]].any()
    for name in ("overrange", "sensor_fault", "supply_dip", "buffer_overrun"):
        assert state.counts[f"{name}_frames"] == 1


def test_a_mask_names_single_absent_values():
    mask = np.zeros((ROWS, 3), bool)
    mask[5, 2] = mask[119, 0] = True
    bits = np.packbits(mask.ravel(), bitorder="little").tobytes()
    _, (block,) = told([hello(), samples(0, missing_bits=bits)])
    np.testing.assert_array_equal(block.missing, mask)


def test_samples_of_another_shape_than_the_hello_are_refused():
    state, items = told([hello(channels=CHANNELS[:2]), samples(0)])
    assert items == () and state.counts["refused_content"] == 1 and "hello says 2" in state.refusal


def test_an_anchor_of_an_unknown_source_is_no_better_than_a_free_running_clock():
    state, (item,) = told([hello(), Anchor(0, 5, 6, 200, True)])
    assert item == TimeAnchor(0, 5, 6, AnchorSource.LOCAL, False)
    assert state.counts["unknown_codes"] == 1


def test_readings_are_named_and_those_that_cannot_be_are_counted():
    sent = Slow(9, ((1, 8_800), (2, -500), (5, 1), (99, 4), (4, -7)))
    state, (item,) = told([hello(), sent])
    assert item == SlowReading(9, {"rh_cpct": 8_800, "air_cdegc": -500, frames.LINE_STATUS: 1})
    assert state.counts["unknown_codes"] == 1 and state.counts["refused_content"] == 1


def test_a_bye_ends_the_stream_with_its_reason_and_not_for_good():
    state, items = told([hello(), samples(0), Bye(ROWS, "service button"), samples(ROWS)])
    assert items[-1] == StreamEnd(ROWS, "service button") and len(items) == 2 and not state.final


@pytest.mark.parametrize("cut", [1, 7, 1000])
def test_blocks_differ_with_the_cut_of_the_line_but_samples_do_not(cut):
    line = wire([hello(), anchor(0), *(samples(n * ROWS) for n in range(6))])
    _, whole = received(line)
    deframer, state, items = framing.Deframer(), Reception(), []
    for at in range(0, len(line), cut):
        deframer, heard = framing.step(deframer, line[at : at + cut])
        state, more = reception.step(state, heard, 0.0)
        items.extend(more)
    assert assert_true_codes(blocks(items)) == assert_true_codes(blocks(whole)) == 6 * ROWS


def test_every_count_that_is_made_is_published():
    state, _ = told([samples(0), hello(), samples(0), samples(0), Anchor(0, 0, 0, 99, False)])
    assert set(state.counts) <= set(RECEPTION_COUNTS)
    assert replace(state, counts={}).counts == {}
