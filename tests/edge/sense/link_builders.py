"""Frames, streams and pseudo-terminals for the tests of the serial link."""

from __future__ import annotations

import os
import threading
import tty
from collections.abc import Iterable, Sequence
from fractions import Fraction
from pathlib import Path

import numpy as np

from edge.samples import Channel, ChannelKind, SampleBlock, SourceItem
from edge.sense import framing, reception
from edge.sense.frame_codec import frame_body
from edge.sense.frames import Anchor, Frame, Hello, Samples
from edge.sense.framing import Deframer, wire_frame
from edge.sense.reception import Reception

CHANNELS = (
    Channel("north", ChannelKind.CURRENT, "A", 0.01, 0.0, -32768.0, 32767.0),
    Channel("south", ChannelKind.CURRENT, "B", 0.02, -0.5),
    Channel("bus", ChannelKind.VOLTAGE, "A", 0.001, 0.0, None, 32767.0),
)
RATE_HZ = 4_800
ROWS = 120


def hello(channels: tuple[Channel, ...] = CHANNELS, **changed: object) -> Hello:
    fields: dict[str, object] = {
        "rate": Fraction(RATE_HZ),
        "nominal_millihz": 50_000,
        "frame_rows": ROWS,
        "channels": channels,
        "firmware": "1.2.3",
    }
    return Hello(**{**fields, **changed})  # type: ignore[arg-type]


def codes(counter: int, rows: int, channels: int = len(CHANNELS)) -> np.ndarray:
    """The one true value of every sample of these tests: a hash of its counter and channel."""
    at = np.arange(counter, counter + rows, dtype=np.uint64)[:, None]
    mixed = (at * np.uint64(channels) + np.arange(channels, dtype=np.uint64)) * np.uint64(
        0x9E3779B97F4A7C15
    )
    return (mixed >> np.uint64(48)).astype(np.uint16).view(np.int16)


def samples(counter: int, rows: int = ROWS, **changed: object) -> Samples:
    values = codes(counter, rows)
    fields: dict[str, object] = {
        "counter": counter,
        "rows": rows,
        "channels": values.shape[1],
        "bytes_each": 2,
        "packed": values.astype("<i2").tobytes(),
    }
    return Samples(**{**fields, **changed})  # type: ignore[arg-type]


def anchor(counter: int, utc_ns: int = 1_700_000_000_000_000_000) -> Anchor:
    return Anchor(counter, utc_ns, 1_000, 3, True)


def bodies(frames: Iterable[Frame], boot: int = 7, sequence: int = 0) -> list[bytes]:
    return [frame_body(frame, sequence + n, boot) for n, frame in enumerate(frames)]


def wire(frames: Iterable[Frame], boot: int = 7, sequence: int = 0) -> bytes:
    return b"".join(map(wire_frame, bodies(frames, boot, sequence)))


def received(
    line: bytes, state: Reception | None = None, now_s: float = 0.0
) -> tuple[Reception, tuple[SourceItem, ...]]:
    """What a receiver makes of a line that it heard from the start."""
    _, whole = framing.step(Deframer(), line)
    return reception.step(state or Reception(), whole, now_s)


def blocks(items: Iterable[SourceItem]) -> list[SampleBlock]:
    return [item for item in items if isinstance(item, SampleBlock)]


def assert_true_codes(found: Iterable[SampleBlock], shift: int = 0) -> int:
    """Every value is the one true value of its counter; returns the number of rows seen."""
    rows = 0
    for block in found:
        count, channels = block.samples.shape
        np.testing.assert_array_equal(
            block.samples, codes(block.counter - shift, count, channels), strict=False
        )
        rows += count
    return rows


class Spoken:
    """A byte stream that has the given chunks to say (None: a wait in vain), then ends."""

    def __init__(self, chunks: Sequence[bytes | None]) -> None:
        self.chunks = list(chunks)

    def read(self, limit: int, /) -> bytes | None:
        if not self.chunks:
            return b""
        chunk = self.chunks.pop(0)
        if chunk is None or len(chunk) <= limit:
            return chunk
        self.chunks.insert(0, chunk[limit:])
        return chunk[:limit]


class Clock:
    """A monotonic clock that advances by `tick_s` at each look."""

    def __init__(self, tick_s: float = 0.0) -> None:
        self.at_s, self.tick_s = 100.0, tick_s

    def __call__(self) -> float:
        self.at_s += self.tick_s
        return self.at_s


class Terminal:
    """A pseudo-terminal reachable under `link`; what the test sends, the reader of `link` reads."""

    def __init__(self, link: Path) -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        link.unlink(missing_ok=True)
        link.symlink_to(os.ttyname(self.slave))
        self.link = link
        self.greeting = b""
        self._writer: threading.Thread | None = None

    def send(self, line: bytes) -> None:
        """In the background, once a reader has opened the port and greeted.

        Opening throws away what came before, and a terminal holds only some kilobytes.
        """
        self.wait()
        self._writer = threading.Thread(target=self._write, args=(line,), daemon=True)
        self._writer.start()

    def _write(self, line: bytes) -> None:
        self.greeting = self.greeting or os.read(self.master, 4096)
        while line:
            line = line[os.write(self.master, line) :]

    def wait(self) -> None:
        """Until all that was sent has gone out."""
        if self._writer is not None:
            self._writer.join()

    def unplug(self) -> None:
        self.wait()
        self.link.unlink()
        os.close(self.slave)
        os.close(self.master)
