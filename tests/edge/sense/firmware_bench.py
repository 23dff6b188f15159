"""Compiles the firmware's side of the link and talks to it."""

from __future__ import annotations

import atexit
import shutil
import struct
import subprocess
import tempfile
from functools import cache
from pathlib import Path

from edge.samples import Channel
from edge.sense import frames
from edge.sense.frames import Anchor, Bye, Frame, Hello, Samples, Slow

FIRMWARE = Path(__file__).parents[3] / "edge" / "firmware"
SOURCES = (
    FIRMWARE / "seafret_link.c",
    FIRMWARE / "seafret_ear.c",
    Path(__file__).with_name("firmware_driver.c"),
)
STRICT = ("-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "-O1", "-g")
POSIX = ("-D_POSIX_C_SOURCE=200809L",)  # for the driver's read and write alone
SANITIZERS = ("-fsanitize=address,undefined", "-fno-sanitize-recover=all")

ERR_ROOM, ERR_RANGE, ERR_LONG = -1, -2, -3


class CompilerMissing(AssertionError):
    """The suite has no C compiler: a failure that says what to install, never a skip."""


def compiler() -> str:
    found = shutil.which("gcc")
    if found is None:
        raise CompilerMissing("the firmware cannot be tested without a compiler: install gcc")
    return found


def compiled(sources: tuple[Path, ...], out: Path, *flags: str) -> subprocess.CompletedProcess[str]:
    command = [compiler(), *flags, f"-I{FIRMWARE}", *map(str, sources), "-o", str(out)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@cache
def sanitizers() -> tuple[str, ...]:
    """The sanitizers, where this machine has their libraries."""
    with tempfile.TemporaryDirectory() as folder:
        trial = Path(folder) / "trial.c"
        trial.write_text("int main(void) { return 0; }\n")
        built = compiled((trial,), Path(folder) / "trial", *SANITIZERS)
    return SANITIZERS if built.returncode == 0 else ()


@cache
def driver() -> Path:
    """The driver with the firmware's files in it; any warning is an error."""
    folder = Path(tempfile.mkdtemp(prefix="seafret-firmware-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    built = compiled(SOURCES, folder / "driver", *STRICT, *POSIX, *sanitizers())
    assert built.returncode == 0, built.stderr
    return folder / "driver"


class Firmware:
    """The C encoder and decoder behind pipes; a sanitizer's finding ends it and fails the test."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [str(driver()), "serve"], stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )

    def close(self) -> int:
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.close()
        self._process.stdout.close()
        return self._process.wait()

    def frame(self, frame: Frame, sequence: int, boot: int, room: int) -> bytes | int:
        """The bytes on the line, or the negative reason."""
        letter, packed = _request(frame)
        return self._ask(letter + struct.pack("<III", boot, sequence, room) + packed)

    def hear(self, line: bytes) -> tuple[list[tuple[int, int, int]], int, int]:
        """Hellos that the firmware took from the line, and how many frames it refused, skipped."""
        heard = self._ask(b"e" + line)
        assert isinstance(heard, bytes)
        refused, skipped = struct.unpack("<II", heard[-8:])
        return list(struct.iter_unpack("<BBI", heard[:-8])), refused, skipped

    def _ask(self, request: bytes) -> bytes | int:
        stdin, stdout = self._process.stdin, self._process.stdout
        assert stdin is not None and stdout is not None
        stdin.write(struct.pack("<I", len(request)) + request)
        stdin.flush()
        head = stdout.read(4)
        assert len(head) == 4, f"the firmware stopped with {self._process.wait()}"
        (result,) = struct.unpack("<i", head)
        return stdout.read(result) if result > 0 else int(result)


def _request(frame: Frame) -> tuple[bytes, bytes]:
    match frame:
        case Hello():
            return b"h", _hello(frame)
        case Samples():
            return b"s", _samples(frame)
        case Anchor(counter, utc_ns, error_ns, source, synchronised):
            return b"a", struct.pack("<QQQBB", counter, utc_ns, error_ns, source, synchronised)
        case Slow(counter, readings):
            pairs = b"".join(struct.pack("<Bi", *each) for each in readings)
            return b"l", struct.pack("<QB", counter, len(readings)) + pairs
        case Bye(counter, reason):
            return b"b", struct.pack("<Q", counter) + _text(reason)
    raise TypeError(f"the firmware sends no {frame}")


def _hello(hello: Hello) -> bytes:
    rate = hello.rate
    head = struct.pack(
        "<IIIIHB",
        hello.capabilities,
        rate.numerator,
        rate.denominator,
        hello.nominal_millihz,
        hello.frame_rows,
        len(hello.channels),
    )
    return head + _text(hello.firmware) + b"".join(map(_channel, hello.channels))


def _channel(channel: Channel) -> bytes:
    low, high = channel.raw_min, channel.raw_max
    given = (low is not None) + 2 * (high is not None)
    kind = frames.KIND_CODES[channel.kind]
    ends = (int(low or 0), int(high or 0))
    head = struct.pack("<BBddii", kind, given, channel.gain, channel.offset, *ends)
    return head + _text(channel.name) + _text(channel.phase)


def _samples(samples: Samples) -> bytes:
    head = struct.pack(
        "<QBBHHBB",
        samples.counter,
        samples.status & 0xFF,
        samples.channels,
        samples.fault_channels,
        samples.rows,
        samples.bytes_each,
        samples.missing_bits is not None,
    )
    return head + samples.packed + (samples.missing_bits or b"")


def _text(text: str) -> bytes:
    encoded = text.encode()
    return struct.pack("<H", len(encoded)) + encoded
