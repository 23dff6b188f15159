"""Frames to bodies and back; the only place that packs and unpacks the layout of `frames`.

Reading trusts nothing: a body with a right CRC may still come from firmware with a bug.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from edge.samples import RATE_HZ_MAX, RATE_HZ_MIN, Channel
from edge.sense import frames
from edge.sense.frames import Anchor, Bye, Frame, FrameType, Hello, HostHello, Samples, Slow

NOMINAL_MILLIHZ = (50_000, 60_000)
UTC_NS_MAX = (1 << 63) - 1

_KIND_OF = {code: kind for kind, code in frames.KIND_CODES.items()}


@dataclass(frozen=True, slots=True)
class Head:
    sequence: int
    boot: int


class FrameRefused(ValueError):
    """A whole frame that cannot be used: the peer's fault.

    count: what it is counted as. head: its place in the stream, None where it has none.
    """

    def __init__(self, count: str, text: str) -> None:
        super().__init__(text)
        self.count = count
        self.head: Head | None = None


def frame_body(frame: Frame, sequence: int, boot: int) -> bytes:
    """The body of a frame, without CRC. Raises ValueError where a field has no room for it."""
    try:
        kind, payload = _payload(frame)
        return frames.HEAD.pack(kind, sequence & 0xFFFF_FFFF, boot) + payload
    except (struct.error, OverflowError) as fault:
        raise ValueError(f"{type(frame).__name__} does not fit its frame: {fault}") from fault


def _payload(frame: Frame) -> tuple[FrameType, bytes]:
    match frame:
        case Hello():
            return FrameType.HELLO, _hello_payload(frame)
        case Samples():
            return FrameType.SAMPLES, _samples_payload(frame)
        case Anchor(counter, utc_ns, error_ns, source, synchronised):
            packed = frames.ANCHOR.pack(counter, utc_ns, error_ns, source, synchronised)
            return FrameType.ANCHOR, packed
        case Slow(counter, readings):
            packed = frames.SLOW.pack(counter, len(readings))
            return FrameType.SLOW, packed + b"".join(
                frames.READING.pack(*each) for each in readings
            )
        case Bye(counter, reason):
            return FrameType.BYE, frames.BYE.pack(counter) + _text(reason)
        case HostHello(major, minor, capabilities):
            return FrameType.HOST_HELLO, frames.HOST_HELLO.pack(major, minor, capabilities)


def _hello_payload(hello: Hello) -> bytes:
    head = frames.HELLO.pack(
        hello.major,
        hello.minor,
        hello.capabilities,
        hello.rate.numerator,
        hello.rate.denominator,
        hello.nominal_millihz,
        hello.frame_rows,
        len(hello.channels),
    )
    return head + _text(hello.firmware) + b"".join(map(_channel_payload, hello.channels))


def _channel_payload(channel: Channel) -> bytes:
    low, high = _end_code(channel, channel.raw_min), _end_code(channel, channel.raw_max)
    given = (low is not None) + 2 * (high is not None)
    kind = frames.KIND_CODES[channel.kind]
    head = frames.CHANNEL.pack(kind, given, channel.gain, channel.offset, low or 0, high or 0)
    return head + _text(channel.name) + _text(channel.phase)


def _end_code(channel: Channel, code: float | None) -> int | None:
    if code is None:
        return None
    if math.isfinite(code) and int(code) == code:
        return int(code)
    raise ValueError(f"channel {channel.name}: end code {code} is not a whole number")


def _samples_payload(samples: Samples) -> bytes:
    mask_bit = int(frames.Status.MISSING_MASK)
    status = samples.status & ~mask_bit
    head = frames.SAMPLES.pack(
        samples.counter,
        status if samples.missing_bits is None else status | mask_bit,
        samples.bytes_each,
        samples.channels,
        0,
        samples.fault_channels,
        samples.rows,
    )
    return head + samples.packed + (samples.missing_bits or b"")


def _text(text: str) -> bytes:
    encoded = text.encode()
    if len(encoded) > frames.TEXT_BYTES_MAX:
        raise ValueError(f"text {text!r} has {len(encoded)} bytes; at most {frames.TEXT_BYTES_MAX}")
    return bytes([len(encoded)]) + encoded


def read_body(body: bytes) -> tuple[Head, Frame]:
    """The frame of one body. Raises FrameRefused: `unknown_types` or `refused_content`."""
    if len(body) < frames.HEAD.size:
        raise FrameRefused("refused_content", f"a frame of {len(body)} bytes has no head")
    code, sequence, boot = frames.HEAD.unpack_from(body)
    head = Head(sequence, boot)
    try:
        return head, _read_payload(code, body)
    except FrameRefused as fault:
        fault.head = head
        raise


def _read_payload(code: int, body: bytes) -> Frame:
    reader = _READERS.get(code)
    if reader is None:
        raise FrameRefused("unknown_types", f"frame type {code} is not known; it was skipped")
    try:
        return reader(body, frames.HEAD.size)
    except struct.error as fault:
        name = FrameType(code).name.lower()
        raise FrameRefused("refused_content", f"{name} frame is too short: {fault}") from fault


def _read_hello(body: bytes, at: int) -> Hello:
    major, minor, capabilities, above, below, nominal, rows, count = frames.HELLO.unpack_from(
        body, at
    )
    if major != frames.PROTOCOL_MAJOR:
        # Nothing after the version may be believed, so the rest of the frame is not read.
        return Hello(Fraction(0), 0, 0, (), "", major, minor, capabilities)
    firmware, at = _read_text(body, at + frames.HELLO.size, "firmware version")
    _require(1 <= count <= frames.CHANNELS_MAX, f"{count} channels; 1 to {frames.CHANNELS_MAX}")
    channels = []
    for _ in range(count):
        channel, at = _read_channel(body, at)
        channels.append(channel)
    names = [channel.name for channel in channels]
    _require(len(set(names)) == count, f"channel names {names}; each must differ")
    _require(below > 0 and rows > 0, "rate or rows of 0; both must be above 0")
    rate = Fraction(above, below)
    _require(
        RATE_HZ_MIN <= rate <= RATE_HZ_MAX,
        f"rate {float(rate):g} Hz; {RATE_HZ_MIN:g} to {RATE_HZ_MAX:g}",
    )
    _require(nominal in NOMINAL_MILLIHZ, f"nominal {nominal} mHz; 50000 or 60000")
    return Hello(rate, nominal, rows, tuple(channels), firmware, major, minor, capabilities)


def _read_channel(body: bytes, at: int) -> tuple[Channel, int]:
    kind, given, gain, offset, low, high = frames.CHANNEL.unpack_from(body, at)
    name, at = _read_text(body, at + frames.CHANNEL.size, "channel name")
    phase, at = _read_text(body, at, "channel phase")
    _require(kind in _KIND_OF, f"channel {name!r} of kind {kind}; 1 current or 2 voltage")
    _require(name != "" and name.isprintable(), f"channel name {name!r}; 1 or more printable marks")
    good = math.isfinite(gain) and gain != 0 and math.isfinite(offset)
    _require(good, f"channel {name!r} with gain {gain} and offset {offset}; finite, gain not 0")
    raw_min = float(low) if given & 1 else None
    raw_max = float(high) if given & 2 else None
    return Channel(name, _KIND_OF[kind], phase, gain, offset, raw_min, raw_max), at


def _read_text(body: bytes, at: int, what: str) -> tuple[str, int]:
    size = body[at] if at < len(body) else 256
    end = at + 1 + size
    _require(size <= frames.TEXT_BYTES_MAX and end <= len(body), f"{what} is cut or too long")
    try:
        return body[at + 1 : end].decode(), end
    except UnicodeDecodeError as fault:
        raise FrameRefused("refused_content", f"{what} is not UTF-8: {fault}") from fault


def _read_samples(body: bytes, at: int) -> Samples:
    counter, status, each, channels, _, faults, rows = frames.SAMPLES.unpack_from(body, at)
    at += frames.SAMPLES.size
    _require(each in (2, 4), f"samples of {each} bytes; 2 or 4")
    _require(rows > 0 and 1 <= channels <= frames.CHANNELS_MAX, f"{rows} rows of {channels}")
    _require(counter <= frames.COUNTER_MAX, f"counter {counter}; at most {frames.COUNTER_MAX}")
    count = rows * channels
    mask_bytes = (count + 7) // 8 if status & frames.Status.MISSING_MASK else 0
    end = at + count * each
    _require(len(body) == end + mask_bytes, f"{len(body)} bytes; {end + mask_bytes} by its head")
    bits = body[end:] if mask_bytes else None
    return Samples(counter, rows, channels, each, body[at:end], status, faults, bits)


def _read_anchor(body: bytes, at: int) -> Anchor:
    counter, utc_ns, error_ns, source, synchronised = frames.ANCHOR.unpack_from(body, at)
    _require(counter <= frames.COUNTER_MAX, f"counter {counter}; at most {frames.COUNTER_MAX}")
    _require(max(utc_ns, error_ns) <= UTC_NS_MAX, f"utc {utc_ns} ns; at most {UTC_NS_MAX}")
    return Anchor(counter, utc_ns, error_ns, source, bool(synchronised))


def _read_slow(body: bytes, at: int) -> Slow:
    counter, count = frames.SLOW.unpack_from(body, at)
    _require(counter <= frames.COUNTER_MAX, f"counter {counter}; at most {frames.COUNTER_MAX}")
    at += frames.SLOW.size
    places = range(at, at + count * frames.READING.size, frames.READING.size)
    return Slow(counter, tuple(frames.READING.unpack_from(body, place) for place in places))


def _read_bye(body: bytes, at: int) -> Bye:
    (counter,) = frames.BYE.unpack_from(body, at)
    _require(counter <= frames.COUNTER_MAX, f"counter {counter}; at most {frames.COUNTER_MAX}")
    reason, _ = _read_text(body, at + frames.BYE.size, "reason")
    return Bye(counter, reason)


def _read_host_hello(body: bytes, at: int) -> HostHello:
    return HostHello(*frames.HOST_HELLO.unpack_from(body, at))


def _require(holds: bool, text: str) -> None:
    if not holds:
        raise FrameRefused("refused_content", text)


_READERS: dict[int, Callable[[bytes, int], Frame]] = {
    FrameType.HELLO: _read_hello,
    FrameType.SAMPLES: _read_samples,
    FrameType.ANCHOR: _read_anchor,
    FrameType.SLOW: _read_slow,
    FrameType.BYE: _read_bye,
    FrameType.HOST_HELLO: _read_host_hello,
}
