"""Bytes of the line to checked frame bodies."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edge.sense import framing
from edge.sense.framing import BODY_BYTES_MAX, WIRE_BYTES_MAX, Deframer, wire_frame

BODIES = st.lists(st.binary(min_size=1, max_size=600), max_size=8)


def heard(line: bytes, cut: int = 1 << 20) -> tuple[Deframer, list[bytes]]:
    deframer, found = Deframer(), []
    for at in range(0, len(line), cut):
        deframer, bodies = framing.step(deframer, line[at : at + cut])
        found.extend(bodies)
    return deframer, found


@given(BODIES, st.integers(1, 700))
def test_bodies_come_out_as_they_went_in_wherever_the_line_is_cut(bodies, cut):
    deframer, found = heard(b"".join(map(wire_frame, bodies)), cut)
    assert found == bodies
    assert deframer.counts.get("frames", 0) == len(bodies)


@given(st.binary(max_size=4000), st.integers(1, 500))
def test_where_the_line_is_cut_changes_neither_bodies_nor_counts(line, cut):
    whole, bodies = heard(line)
    parts, same = heard(line, cut)
    assert same == bodies
    assert parts.counts == whole.counts and parts.pending == whole.pending


@given(st.binary(min_size=1, max_size=300), st.data())
def test_a_frame_with_any_wrong_bit_is_refused_and_the_next_one_taken(body, data):
    line = bytearray(wire_frame(body))
    at = data.draw(st.integers(8, 8 * (len(line) - 1) - 1))  # not in a delimiter
    line[at // 8] ^= 1 << at % 8
    deframer, found = heard(bytes(line) + wire_frame(b"next"))
    assert found == [b"next"]
    assert deframer.counts["resynchronisations"] == 1
    assert sum(deframer.counts[name] for name in deframer.counts if "refused" in name) >= 1


def test_a_frame_joined_in_the_middle_is_skipped_without_being_counted_as_refused():
    line = wire_frame(b"the first frame") + wire_frame(b"second")
    deframer, found = heard(line[5:])
    assert found == [b"second"]
    assert dict(deframer.counts) == {"frames": 1}


def test_a_frame_cut_short_does_not_take_the_next_one_with_it():
    deframer, found = heard(
        b"\0" + wire_frame(b"a frame that the restart cut")[1:-9] + wire_frame(b"hello")
    )
    assert found == [b"hello"]
    assert deframer.counts["refused_form"] + deframer.counts.get("refused_crc", 0) == 1


def test_a_frame_too_long_is_dropped_up_to_its_delimiter_with_bounded_memory():
    deframer, _ = framing.step(Deframer(), b"\0")
    for _ in range(10):
        deframer, bodies = framing.step(deframer, b"\1" * (WIRE_BYTES_MAX // 2))
        assert bodies == () and len(deframer.pending) <= WIRE_BYTES_MAX
    deframer, bodies = framing.step(deframer, b"\1\0" + wire_frame(b"next"))
    assert bodies == (b"next",)
    assert deframer.counts == {"refused_length": 1, "frames": 1, "resynchronisations": 1}


def test_a_frame_too_long_within_one_chunk_is_refused_by_its_length():
    deframer, bodies = framing.step(Deframer(), b"\0" + b"\1" * (WIRE_BYTES_MAX + 1) + b"\0")
    assert bodies == () and deframer.counts == {"refused_length": 1}


def test_the_longest_body_passes_and_one_byte_more_is_not_sent():
    longest = bytes(range(1, 256)) * 129
    longest = longest[:BODY_BYTES_MAX]
    assert heard(wire_frame(longest), 4096)[1] == [longest]
    with pytest.raises(ValueError, match="send fewer rows"):
        wire_frame(longest + b"x")


def noise_is_harmless(total_bytes: int) -> None:
    random = np.random.default_rng(20)
    deframer, arrived = Deframer(), 0
    while arrived < total_bytes:
        chunk = random.integers(0, 256, int(random.integers(1, 60_000)), np.uint8).tobytes()
        arrived += len(chunk)
        deframer, bodies = framing.step(deframer, chunk)
        assert bodies == () and len(deframer.pending) <= WIRE_BYTES_MAX
    assert deframer.counts["refused_crc"] > 0 and deframer.counts["refused_form"] > 0
    deframer, bodies = framing.step(deframer, wire_frame(b"still here"))
    assert bodies == (b"still here",)


def test_random_bytes_raise_nothing_hold_little_and_yield_nothing():
    noise_is_harmless(300_000)


@pytest.mark.long
def test_ten_million_random_bytes_raise_nothing_hold_little_and_yield_nothing():
    noise_is_harmless(10_000_000)
