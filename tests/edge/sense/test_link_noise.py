"""Bit errors on the line: no false sample, place found again at once, counts that add up."""

from __future__ import annotations

import numpy as np
import pytest

from edge.sense import framing, reception
from edge.sense.framing import Deframer
from edge.sense.reception import Reception
from tests.edge.sense.link_builders import assert_true_codes, blocks, codes, hello, samples, wire

BIT_ERROR_RATE = 2e-3
ROWS = 10
BATCH_FRAMES = 2_000


def damaged(line: bytes, random: np.random.Generator) -> np.ndarray:
    flips = random.random((len(line), 8)) < BIT_ERROR_RATE
    return np.frombuffer(line, np.uint8) ^ np.packbits(flips, axis=1)[:, 0]


def under_fire(frame_count: int) -> dict[str, int]:
    """Sends frames through a noisy line and holds the receiver to an account kept by the sender."""
    random = np.random.default_rng(4)
    deframer, bodies = framing.step(Deframer(), wire([hello()]))
    state, _ = reception.step(Reception(), bodies, 0.0)
    whole = np.ones(1, bool)  # frame by frame: not a bit of it was hit; the hello was not
    delivered: list[int] = []
    pieces, after_zero = 0, True  # runs of bytes between zeros
    for first in range(0, frame_count, BATCH_FRAMES):
        lines = [
            wire([samples(n * ROWS, ROWS)], sequence=n + 1)
            for n in range(first, min(first + BATCH_FRAMES, frame_count))
        ]
        sent = b"".join(lines)
        came = damaged(sent, random)
        hit = np.add.reduceat(
            came != np.frombuffer(sent, np.uint8),
            np.cumsum([0, *map(len, lines[:-1])]),
        )
        whole = np.append(whole, hit == 0)
        zero = np.append(after_zero, came == 0)
        pieces += int(np.count_nonzero(zero[:-1] & ~zero[1:]))
        after_zero = bool(zero[-1])
        deframer, bodies = framing.step(deframer, came.tobytes())
        state, items = reception.step(state, bodies, 0.0)
        assert_true_codes(blocks(items))
        for block in blocks(items):
            delivered.extend(range(block.counter // ROWS, block.counter_end // ROWS))
    pieces -= deframer.pending != b""
    return account(whole, delivered, {**deframer.counts, **state.counts}, pieces)


def account(whole: np.ndarray, delivered: list[int], counts: dict[str, int], pieces: int):
    unharmed = np.flatnonzero(whole[1:])
    # Resynchronised within a frame: every frame that was not itself hit has been taken.
    np.testing.assert_array_equal(delivered, unharmed)
    assert counts["frames"] == len(unharmed) + 1
    assert counts["samples"] == len(unharmed) * ROWS
    between = unharmed[-1] - unharmed[0] - (len(unharmed) - 1)
    assert counts["frames_lost"] == unharmed[0] + between
    assert counts["samples_lost"] == between * ROWS  # those before the first samples are unknown
    assert counts["resynchronisations"] == np.count_nonzero(whole[1:] & ~whole[:-1])
    refused = sum(number for name, number in counts.items() if name.startswith("refused"))
    assert counts["frames"] - 1 + refused == pieces and refused > 0
    return counts


def test_bit_errors_bring_no_false_sample_and_cost_no_frame_but_those_hit():
    counts = under_fire(4_000)
    assert counts["frames"] > 400 and counts["refused_crc"] > 400 and counts["refused_form"] > 40


@pytest.mark.long
def test_200_000_frames_under_bit_errors_bring_no_false_sample():
    counts = under_fire(200_000)
    print(dict(counts))
    assert counts["refused_crc"] > 50_000


def test_the_account_itself_notices_one_false_sample():
    false = samples(0, ROWS, packed=codes(1, ROWS).tobytes())
    _, bodies = framing.step(Deframer(), wire([hello(), false]))
    _, items = reception.step(Reception(), bodies, 0.0)
    with pytest.raises(AssertionError):
        assert_true_codes(blocks(items))
