"""Bytes of the serial line to whole, checked frame bodies, and back.

On the line a frame is: 0x00, COBS(body + CRC-32 of the body, little-endian), 0x00. COBS leaves no
zero inside, so every 0x00 is a boundary, and a receiver that lost its place finds it again at the
next one. The delimiter in front costs a byte and keeps a frame readable after one that was cut
short, as when the firmware restarts in mid-frame. COBS: Cheshire and Baker, 1999 (as recalled);
CRC-32: that of `zlib.crc32`.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from cobs import cobs

DELIMITER = b"\x00"
CRC_BYTES = 4

BODY_BYTES_MAX = 32_768
"""Longest body. A longer frame is dropped up to the next delimiter and counted `refused_length`."""

WIRE_BYTES_MAX = BODY_BYTES_MAX + CRC_BYTES + (BODY_BYTES_MAX + CRC_BYTES) // 254 + 1
"""Longest frame between two delimiters; no more than this is ever held of an unfinished frame."""

FRAMING_COUNTS = (
    "frames",
    "refused_crc",
    "refused_form",
    "refused_length",
    "resynchronisations",
)
"""frames: whole and with a right CRC. refused_form: no COBS, or too short for a CRC.
resynchronisations: good frames that followed at least one refused."""

NOTHING_COUNTED: Mapping[str, int] = MappingProxyType({})


def with_counts(counts: Mapping[str, int], **more: int) -> Mapping[str, int]:
    """`counts` with `more` added, as a new mapping."""
    summed = dict(counts)
    for name, number in more.items():
        summed[name] = summed.get(name, 0) + number
    return summed


@dataclass(frozen=True, slots=True)
class Deframer:
    """What is known between two reads.

    pending: bytes since the last delimiter. skipping: the bytes up to the next delimiter belong to
    a frame whose start was not heard, or that is too long. lost: a frame was refused since the last
    good one. counts: totals by the names of `FRAMING_COUNTS`.
    """

    pending: bytes = b""
    skipping: bool = True
    lost: bool = False
    counts: Mapping[str, int] = field(default_factory=lambda: NOTHING_COUNTED)


def wire_frame(body: bytes) -> bytes:
    """The bytes on the line of one body. Raises ValueError where the body is too long."""
    if len(body) > BODY_BYTES_MAX:
        raise ValueError(
            f"a frame body has {len(body)} bytes; at most {BODY_BYTES_MAX}: send fewer rows a frame"
        )
    checked = body + zlib.crc32(body).to_bytes(CRC_BYTES, "little")
    return b"".join((DELIMITER, cobs.encode(checked), DELIMITER))


def step(deframer: Deframer, chunk: bytes) -> tuple[Deframer, tuple[bytes, ...]]:
    """Bodies completed by `chunk`, in order, each with a right CRC; the rest is counted or pending.

    Never raises. Holds at most `WIRE_BYTES_MAX` bytes besides the chunk, whatever arrives.
    """
    *closed, pending = (deframer.pending + chunk).split(DELIMITER)
    bodies: list[bytes] = []
    tally: dict[str, int] = dict(deframer.counts)
    lost, skipping = deframer.lost, deframer.skipping
    for piece in closed:
        if skipping or not piece:
            skipping = False
            continue
        body, refusal = _checked(piece)
        if body is None:
            lost = True
            tally[refusal] = tally.get(refusal, 0) + 1
            continue
        bodies.append(body)
        tally["frames"] = tally.get("frames", 0) + 1
        if lost:
            tally["resynchronisations"] = tally.get("resynchronisations", 0) + 1
            lost = False
    deframer = Deframer(b"" if skipping else pending, skipping, lost, tally)
    return _bounded(deframer), tuple(bodies)


def _bounded(deframer: Deframer) -> Deframer:
    if len(deframer.pending) <= WIRE_BYTES_MAX:
        return deframer
    counts = with_counts(deframer.counts, refused_length=1)
    return replace(deframer, pending=b"", skipping=True, lost=True, counts=counts)


def _checked(piece: bytes) -> tuple[bytes | None, str]:
    """The body between two delimiters, or None and the count that its refusal goes to."""
    if len(piece) > WIRE_BYTES_MAX:
        return None, "refused_length"
    try:
        checked = cobs.decode(piece)
    except cobs.DecodeError:
        return None, "refused_form"
    if len(checked) <= CRC_BYTES:
        return None, "refused_form"
    body = checked[:-CRC_BYTES]
    if zlib.crc32(body) != int.from_bytes(checked[-CRC_BYTES:], "little"):
        return None, "refused_crc"
    return body, ""
