"""A firmware made of software: what a source delivers, as the bytes that a sensor unit would send.

The demo feeds its daemons with it, and tests hold the live path against replay. The step is pure;
the bytes are whole frames, so any sink can be cut between them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from math import ceil

import numpy as np
import numpy.typing as npt

from edge.samples import (
    SampleBlock,
    SignalDescription,
    SlowReading,
    SourceItem,
    StreamEnd,
    TimeAnchor,
)
from edge.sense import frames
from edge.sense.frame_codec import frame_body
from edge.sense.frames import Anchor, Bye, Frame, Hello, Samples, Slow
from edge.sense.framing import wire_frame

HELLO_EVERY_S = 1.0
"""A hello goes out this often in the signal's own time, for a receiver that joins late."""

_WIRE_BYTES = {np.dtype(np.int16): 2, np.dtype(np.int32): 4}


@dataclass(frozen=True, slots=True)
class Player:
    """hello, boot: as sent. sequence: of the next frame. hello_counter: when the next hello is due.

    waiting: rows not yet sent, less than one frame of them.
    """

    hello: Hello
    boot: int
    sequence: int = 0
    hello_counter: int | None = None
    waiting: SampleBlock | None = None


def player_of(
    description: SignalDescription, boot: int, firmware: str = "player", frame_rows: int = 0
) -> Player:
    """A player of such signals. Raises ValueError where the link cannot carry them.

    frame_rows: rows a frame; 0: `FRAME_S_MIN` of signal.
    """
    rate = frames.exact_rate(description.rate_hz)
    rows = frame_rows or ceil(frames.FRAME_S_MIN * rate)
    if len(description.channels) > frames.CHANNELS_MAX:
        found = len(description.channels)
        raise ValueError(f"{found} channels; the link carries at most {frames.CHANNELS_MAX}")
    nominal = round(description.nominal_hz * 1000)
    capabilities = int(frames.Capability.SLOW_READINGS)
    hello = Hello(rate, nominal, rows, description.channels, firmware, capabilities=capabilities)
    return Player(hello, boot)


def step(player: Player, item: SourceItem) -> tuple[Player, bytes]:
    """The bytes that `item` makes due. Rows that fill no frame yet wait for the next item.

    Raises ValueError where the link cannot carry the item (values that are no whole numbers).
    """
    if isinstance(item, SampleBlock):
        return _play_block(player, item)
    player, rest = _flushed(player)
    player, sent = _sent(player, _frame_of(item))
    return player, rest + sent


def play(
    items: Iterable[SourceItem],
    description: SignalDescription,
    sink: Callable[[bytes], object],
    boot: int = 1,
    firmware: str = "player",
) -> None:
    """Sends a whole source into `sink`; a bye follows where the source itself said no end."""
    player = player_of(description, boot, firmware)
    counter, ended = 0, False
    player, sent = _sent(player, player.hello)
    sink(sent)
    for item in items:
        player, sent = step(player, item)
        sink(sent)
        ended = isinstance(item, StreamEnd)
        counter = item.counter_end if isinstance(item, SampleBlock) else counter
    if not ended:
        player, sent = step(player, StreamEnd(counter, "the recording has ended"))
        sink(sent)


def _frame_of(item: TimeAnchor | SlowReading | StreamEnd) -> Frame:
    match item:
        case TimeAnchor(counter, utc_ns, error_ns, source, synchronised):
            return Anchor(counter, utc_ns, error_ns, frames.SOURCE_CODES[source], synchronised)
        case SlowReading(counter, readings):
            if strange := set(readings) - set(frames.READING_CODES):
                raise ValueError(f"the link has no code for the reading {sorted(strange)}")
            pairs = ((frames.READING_CODES[name], units) for name, units in readings.items())
            return Slow(counter, tuple(pairs))
        case StreamEnd(counter, reason):
            return Bye(counter, reason.encode()[: frames.TEXT_BYTES_MAX].decode(errors="ignore"))


def _play_block(player: Player, block: SampleBlock) -> tuple[Player, bytes]:
    if block.samples.dtype not in _WIRE_BYTES:
        raise ValueError(f"samples are {block.samples.dtype}; the link carries int16 and int32")
    sent = b""
    waiting = player.waiting
    if waiting is not None:
        if waiting.counter_end == block.counter and waiting.samples.dtype == block.samples.dtype:
            block = _together(waiting, block)
        else:
            player, sent = _flushed(player)
    rows = player.hello.frame_rows
    whole = len(block.samples) // rows * rows
    parts = [sent]
    for at in range(0, whole, rows):
        player, more = _send_rows(player, _rows_of(block, at, at + rows))
        parts.append(more)
    rest = _rows_of(block, whole, len(block.samples))
    return replace(player, waiting=rest if len(rest.samples) else None), b"".join(parts)


def _flushed(player: Player) -> tuple[Player, bytes]:
    if player.waiting is None:
        return player, b""
    player, sent = _send_rows(player, player.waiting)
    return replace(player, waiting=None), sent


def _send_rows(player: Player, block: SampleBlock) -> tuple[Player, bytes]:
    hello = b""
    every = round(HELLO_EVERY_S * player.hello.rate)
    due = player.hello_counter
    if due is None or block.counter >= due:
        if due is not None:
            player, hello = _sent(player, player.hello)
        player = replace(player, hello_counter=block.counter + every)
    player, sent = _sent(player, _samples(block))
    return player, hello + sent


def _samples(block: SampleBlock) -> Samples:
    rows, channels = block.samples.shape
    each = _WIRE_BYTES[block.samples.dtype]
    packed = block.samples.astype(f"<i{each}", copy=False).tobytes()
    bits = None
    if block.missing is not None and block.missing.any():
        bits = np.packbits(block.missing.ravel(), bitorder="little").tobytes()
    return Samples(block.counter, rows, channels, each, packed, missing_bits=bits)


def _sent(player: Player, frame: Frame) -> tuple[Player, bytes]:
    wire = wire_frame(frame_body(frame, player.sequence, player.boot))
    return replace(player, sequence=player.sequence + 1), wire


def _rows_of(block: SampleBlock, start: int, end: int) -> SampleBlock:
    missing = None if block.missing is None else block.missing[start:end]
    return SampleBlock(block.counter + start, block.samples[start:end], missing)


def _together(first: SampleBlock, second: SampleBlock) -> SampleBlock:
    samples = np.concatenate([first.samples, second.samples])
    if first.missing is None and second.missing is None:
        return SampleBlock(first.counter, samples)
    masks = [_mask(first), _mask(second)]
    return SampleBlock(first.counter, samples, np.concatenate(masks))


def _mask(block: SampleBlock) -> npt.NDArray[np.bool_]:
    return np.zeros(block.samples.shape, np.bool_) if block.missing is None else block.missing
