"""Frames of IEC 60870-5-104 (APCI), read and written. Pure.

After the companion standard as recalled, and from secondary texts: start octet 0x68, a length of
the rest, four control octets, and for an I frame the ASDU. Numbers count modulo 32768.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

START = 0x68
CONTROL_BYTES = 4
APDU_BYTES_MAX = 253
"""Largest length octet; a longer frame is a fault of the peer and ends the connection."""

ASDU_BYTES_MAX = APDU_BYTES_MAX - CONTROL_BYTES
NUMBERS = 32_768


class PeerFault(ValueError):
    """The peer's: what it sent is no frame, or breaks the rules; the connection is ended."""


class Function(IntEnum):
    """Of a U frame, its first control octet."""

    START_ACT = 0x07
    START_CON = 0x0B
    STOP_ACT = 0x13
    STOP_CON = 0x23
    TEST_ACT = 0x43
    TEST_CON = 0x83


@dataclass(frozen=True, slots=True)
class Information:
    """An I frame: its number, the number that is expected next from the peer, and an ASDU."""

    sent: int
    heard: int
    asdu: bytes


@dataclass(frozen=True, slots=True)
class Supervisory:
    """An S frame: everything before `heard` has come."""

    heard: int


@dataclass(frozen=True, slots=True)
class Unnumbered:
    """A U frame."""

    function: Function


Frame = Information | Supervisory | Unnumbered


def frame_bytes(frame: Frame) -> bytes:
    """A frame as it travels."""
    match frame:
        case Information(sent, heard, asdu):
            assert len(asdu) <= ASDU_BYTES_MAX, f"an ASDU of {len(asdu)} bytes"
            control = _number(sent) + _number(heard) + asdu
        case Supervisory(heard):
            control = b"\x01\x00" + _number(heard)
        case Unnumbered(function):
            control = bytes((function, 0, 0, 0))
    return bytes((START, len(control))) + control


def _number(number: int) -> bytes:
    return (number % NUMBERS << 1).to_bytes(2, "little")


def read_frame(octets: bytes) -> tuple[Frame, int] | None:
    """The first frame of what has come, and its length; None while it is not whole.

    Raises PeerFault.
    """
    if octets and octets[0] != START:
        raise PeerFault(f"a frame starts with 0x68; found 0x{octets[0]:02x}")
    if len(octets) < 2:
        return None
    length = octets[1]
    if not CONTROL_BYTES <= length <= APDU_BYTES_MAX:
        raise PeerFault(f"a frame of length {length}; {CONTROL_BYTES} to {APDU_BYTES_MAX} is")
    if len(octets) < 2 + length:
        return None
    return _control(octets[2 : 2 + length]), 2 + length


def _control(control: bytes) -> Frame:
    first = control[0]
    heard = int.from_bytes(control[2:4], "little") >> 1
    if not first & 0x01:
        return Information(int.from_bytes(control[:2], "little") >> 1, heard, control[4:])
    if len(control) != CONTROL_BYTES:
        raise PeerFault(f"a frame without ASDU has {len(control)} octets; it must have 4")
    if first & 0x03 == 0x01:
        return Supervisory(heard)
    try:
        return Unnumbered(Function(first))
    except ValueError as fault:
        raise PeerFault(f"a U frame of function 0x{first:02x} is not known") from fault
