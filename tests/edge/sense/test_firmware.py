"""The C side of the link against the Python side, both ways, under sanitizers."""

from __future__ import annotations

import os
import subprocess
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge.samples import SlowReading, StreamEnd, TimeAnchor
from edge.sense import framing
from edge.sense.frame_codec import Head, frame_body, read_body
from edge.sense.frames import Bye, Hello, HostHello, Samples, Slow
from edge.sense.framing import BODY_BYTES_MAX, Deframer, wire_frame
from edge.sense.link import LinkSource
from edge.sense.serial_port import open_serial
from tests.edge.sense import firmware_bench
from tests.edge.sense.firmware_bench import ERR_LONG, ERR_RANGE, ERR_ROOM, Firmware
from tests.edge.sense.link_builders import (
    CHANNELS,
    ROWS,
    Terminal,
    assert_true_codes,
    blocks,
    hello,
    samples,
)
from tests.edge.sense.test_frames import ANY_FRAME, U32

ROOM = 40_000


@pytest.fixture(scope="module")
def firmware():
    running = Firmware()
    yield running
    assert running.close() == 0


def speakable(frame) -> bool:
    """C texts end at a NUL, and the firmware speaks its own protocol version only."""
    if isinstance(frame, Hello):
        texts = [frame.firmware, *(t for c in frame.channels for t in (c.name, c.phase))]
        return frame.minor == 0 and not any("\0" in text for text in texts)
    if isinstance(frame, Bye):
        return "\0" not in frame.reason
    return not isinstance(frame, HostHello)


def as_version_0(frame):
    return replace(frame, minor=0) if isinstance(frame, Hello) else frame


@given(frame=ANY_FRAME.map(as_version_0).filter(speakable), sequence=U32, boot=U32)
def test_firmware_and_player_send_the_same_bytes(firmware, frame, sequence, boot):
    assert firmware.frame(frame, sequence, boot, ROOM) == wire_frame(
        frame_body(frame, sequence, boot)
    )


@given(st.integers(1, 800), st.integers(0, 3))
def test_runs_without_a_zero_are_coded_alike_at_every_length(firmware, count, zeros):
    """COBS groups end at 254 bytes; the CRC and the head make them fall anywhere."""
    packed = bytes(n % 255 + 1 for n in range(2 * count - zeros)) + bytes(zeros)
    packed = packed[: 2 * count].ljust(2 * count, b"\7")
    frame = Samples(0x0101010101010101, count, 1, 2, packed, 1, 0x0101)
    assert firmware.frame(frame, 0x01010101, 0x01010101, ROOM) == wire_frame(
        frame_body(frame, 0x01010101, 0x01010101)
    )


@given(frame=ANY_FRAME.map(as_version_0).filter(speakable), data=st.data())
def test_a_buffer_too_small_is_refused_and_never_overrun(firmware, frame, data):
    whole = firmware.frame(frame, 1, 2, ROOM)
    room = data.draw(st.integers(0, len(whole)))
    assert firmware.frame(frame, 1, 2, room) == (whole if room == len(whole) else ERR_ROOM)


def test_the_firmware_refuses_what_no_receiver_takes(firmware):
    def result(frame):
        return firmware.frame(frame, 0, 0, 1 << 20)

    assert result(hello(channels=())) == ERR_RANGE
    assert result(hello(channels=CHANNELS * 6)) == ERR_RANGE
    assert result(hello(frame_rows=0)) == ERR_RANGE
    assert result(hello(firmware="x" * 201)) == ERR_RANGE
    assert result(Bye(0, "x" * 201)) == ERR_RANGE
    assert result(samples(0, rows=0, packed=b"")) == ERR_RANGE
    wide = Samples(0, 1, 17, 2, bytes(34))
    assert result(wide) == ERR_RANGE
    rows = (BODY_BYTES_MAX - 25) // 2
    assert isinstance(result(Samples(0, rows, 1, 2, bytes(2 * rows))), bytes)
    assert result(Samples(0, rows + 1, 1, 2, bytes(2 * rows + 2))) == ERR_LONG


@given(st.lists(st.tuples(st.integers(0, 255), st.integers(0, 255), U32), max_size=5))
def test_the_firmware_hears_every_hello_of_the_host(firmware, hellos):
    line = b"".join(wire_frame(frame_body(HostHello(*each), 3, 0)) for each in hellos)
    assert firmware.hear(line) == (hellos, 0, 0)


@given(st.binary(max_size=3000))
def test_noise_from_the_host_is_refused_and_the_next_hello_heard(firmware, noise):
    line = noise + wire_frame(frame_body(HostHello(), 0, 0))
    heard, refused, _ = firmware.hear(line)
    assert heard == [(1, 0, 0)]
    assert refused == sum(bool(piece) for piece in noise.split(b"\0"))


@given(st.integers(0, 30 * 8 - 1))
def test_a_host_hello_with_a_wrong_bit_is_never_heard(firmware, bit):
    line = bytearray(wire_frame(frame_body(HostHello(1, 2, 3), 4, 5)))
    bit %= 8 * (len(line) - 2)
    line[1 + bit // 8] ^= 1 << bit % 8
    heard, refused, skipped = firmware.hear(bytes(line))
    assert heard == [] and refused >= 1 and skipped == 0


def test_other_frames_from_the_host_are_skipped_and_overlong_ones_refused(firmware):
    other = wire_frame(frame_body(Slow(1, ()), 0, 0))
    overlong = wire_frame(frame_body(Bye(1, "x" * 90), 0, 0))
    line = other + overlong + wire_frame(frame_body(HostHello(1, 0, 9), 0, 0))
    assert firmware.hear(line) == ([(1, 0, 9)], 1, 1)


@pytest.mark.long
@settings(max_examples=20_000, deadline=None)
@given(frame=ANY_FRAME.map(as_version_0).filter(speakable), sequence=U32, boot=U32)
def test_20_000_frames_of_any_kind_are_sent_alike_and_read_back(firmware, frame, sequence, boot):
    line = firmware.frame(frame, sequence, boot, ROOM)
    _, bodies = framing.step(Deframer(), line)
    assert read_body(bodies[0]) == (Head(sequence, boot), frame)


@pytest.mark.long
def test_ten_million_random_bytes_make_the_firmware_hear_nothing(firmware):
    random = np.random.default_rng(21)
    for _ in range(100):
        noise = random.integers(0, 256, 100_000, np.uint8).tobytes()
        heard, refused, skipped = firmware.hear(noise)
        assert heard == [] and skipped == 0 and refused > 300


def sent_by_firmware(folder: Path, frames: int, restart_at: int):
    """Items of a stream that the compiled firmware sends through a pseudo-terminal."""
    terminal = Terminal(folder / "unit")
    port = open_serial(str(terminal.link), pause_s=lambda _: None)
    unit = subprocess.Popen(
        [str(firmware_bench.driver()), "stream", str(frames), str(restart_at)],
        stdin=terminal.master,
        stdout=terminal.master,
    )
    source = LinkSource(port, str(terminal.link), time.monotonic)
    items = list(source)
    assert unit.wait() == 0
    port.close()
    terminal.unplug()
    return source, items


def test_what_the_firmware_sends_through_a_terminal_arrives_whole(tmp_path):
    source, items = sent_by_firmware(tmp_path, frames=400, restart_at=0)
    assert source.describe() == hello().description
    assert assert_true_codes(blocks(items)) == 400 * ROWS
    assert isinstance(items[0], TimeAnchor)
    assert items[1] == SlowReading(0, {"rh_cpct": 8_800, "air_cdegc": -250})
    assert items[-1] == StreamEnd(400 * ROWS, "the test is over")
    counters = source.health().counters
    assert counters["frames"] == 404 and counters["samples"] == 400 * ROWS
    assert sum(number for name, number in counters.items() if "refused" in name) == 0


def test_a_firmware_cut_in_mid_frame_and_started_anew_costs_that_frame_alone(tmp_path):
    source, items = sent_by_firmware(tmp_path, frames=30, restart_at=10)
    found = blocks(items)
    before = [block for block in found if block.counter < 50_000 + 10 * ROWS]
    after = found[len(before) :]
    assert assert_true_codes(before) == 10 * ROWS
    assert after[0].counter > 50_000 + 10 * ROWS
    assert assert_true_codes(after, shift=after[0].counter) == 20 * ROWS
    anchors = [item for item in items if isinstance(item, TimeAnchor)]
    assert [each.counter for each in anchors] == [50_000, after[0].counter]
    counters = source.health().counters
    assert counters["restarts"] == 1 and counters["resynchronisations"] == 1


def test_without_a_compiler_the_suite_fails_and_says_what_to_install(monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", os.fspath(tmp_path))
    with pytest.raises(firmware_bench.CompilerMissing, match="install gcc"):
        firmware_bench.compiler()


def test_the_firmware_itself_needs_three_headers_and_no_allocation(tmp_path):
    """Compiled alone and freestanding; the only symbols it wants are those of <string.h>."""
    allowed = {"stdint.h", "stddef.h", "string.h", '"seafret_link.h"'}
    for source in firmware_bench.SOURCES[:2]:
        text = source.read_text() + (firmware_bench.FIRMWARE / "seafret_link.h").read_text()
        included = {line.split()[1].strip("<>") for line in text.splitlines() if "#include" in line}
        assert included <= allowed
        built = firmware_bench.compiled(
            (source,), tmp_path / "x.o", *firmware_bench.STRICT, "-Wconversion", "-c"
        )
        assert built.returncode == 0, built.stderr
        wanted = subprocess.run(
            ["nm", "-u", str(tmp_path / "x.o")], capture_output=True, text=True, check=True
        )
        names = {line.split()[-1] for line in wanted.stdout.splitlines()}
        assert names <= {
            "memcpy",
            "memset",
            "strlen",
            "seafret_crc32_next",
            "_GLOBAL_OFFSET_TABLE_",
            "__stack_chk_fail",
        }
