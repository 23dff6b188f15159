"""A serial port as a byte stream; what is wrong with it in words a fitter understands."""

from __future__ import annotations

import errno
import time
from collections.abc import Callable

import serial

from edge.sense.frame_codec import frame_body
from edge.sense.frames import HostHello
from edge.sense.framing import wire_frame
from edge.sense.link import LinkDown

BAUD_DEFAULT = 921_600
WAIT_S = 0.1
"""A read returns after this long at the latest, so that a stop is heard and silence noticed."""

GATHER_S = 0.025
"""Pause after the first byte of a read where little has come yet: forty wake-ups a second instead
of a thousand."""

GATHER_BYTES = 2_048
"""With so much waiting there is no pause: a terminal holds 4,096 bytes before it backs up (Linux,
as recalled), so a fast line is read as fast as it comes."""

_OPEN_FAULTS = {
    errno.ENOENT: "is not there; check the USB lead and the name (ls /dev/serial/by-id)",
    errno.EACCES: "may not be opened; add the service's user to its group (often dialout)",
    errno.EBUSY: "is in use; stop the other program that holds it",
    errno.EAGAIN: "is in use; stop the other program that holds it",
    errno.ENXIO: "has no device behind it; check the USB lead",
    errno.EIO: "has no device behind it; check the USB lead",
    errno.ENOTTY: "is no serial port; name one (ls /dev/serial/by-id)",
}


class SerialPort:
    """A pyserial port as a Connection. None from `read`: nothing came within `WAIT_S`."""

    def __init__(self, port: serial.Serial, pause_s: Callable[[float], object]) -> None:
        self._port, self._pause_s = port, pause_s

    def read(self, limit: int, /) -> bytes | None:
        heard: bytes = self._port.read(1)
        if not heard:
            return None
        if self._port.in_waiting < GATHER_BYTES:
            self._pause_s(GATHER_S)
        while len(heard) < limit and (waiting := self._port.in_waiting):
            heard += self._port.read(min(waiting, limit - len(heard)))
        return heard

    def close(self) -> None:
        self._port.close()


def open_serial(
    path: str, baud: int = BAUD_DEFAULT, pause_s: Callable[[float], object] = time.sleep
) -> SerialPort:
    """The port, opened for us alone, after a host hello went out. Raises LinkDown."""
    try:
        port = serial.Serial(path, baud, timeout=WAIT_S, write_timeout=WAIT_S, exclusive=True)
    except ValueError as fault:
        raise LinkDown(f"{path} cannot run at {baud} baud; choose a rate it has") from fault
    except OSError as fault:
        raise LinkDown(
            f"{path} {_OPEN_FAULTS.get(fault.errno or 0, f'failed: {fault}')}"
        ) from fault
    try:
        port.write(wire_frame(frame_body(HostHello(), 0, 0)))
    except OSError as fault:
        port.close()
        raise LinkDown(f"{path} cannot be written: {fault}; check the USB lead") from fault
    return SerialPort(port, pause_s)
