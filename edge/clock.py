"""The edge's only reader of real clocks: UTC, time since boot, and whether UTC is disciplined.

`rate` and the two origins make UTC one straight line through real time, so that a demo can live a
night in a minute: shown = shown_origin + (real - real_origin) * rate. The gateway's clock is drawn
by the same three numbers, so every process of a demo shows the same time.
"""

from __future__ import annotations

import ctypes
import json
import time
from dataclasses import dataclass
from pathlib import Path

RATE_MAX = 10_000.0

BOOT_FILE = Path("/proc/sys/kernel/random/boot_id")
TIMESYNC_FILE = Path("/run/systemd/timesync/synchronized")

STA_UNSYNC = 0x0040
"""Bit of the kernel's clock status: nobody disciplines it (adjtimex(2), as recalled)."""


class ClockFileRefused(ValueError):
    """The installer's clock file cannot be read as one."""


@dataclass(frozen=True, slots=True)
class Discipline:
    """What is known of UTC. error_us: half-width of what is believed of it; None: unknown."""

    source: str
    synchronised: bool
    error_us: int | None


@dataclass(frozen=True, slots=True)
class Clock:
    """UTC at `rate` times real time. Steady times are always real: they time waits and retries."""

    rate: float = 1.0
    real_origin_us: int = 0
    shown_origin_us: int = 0

    @property
    def is_affine(self) -> bool:
        """Whether this is the clock of a demo, not the machine's."""
        return self != Clock()

    def utc_us(self) -> int:
        """UTC, microseconds since 1970-01-01."""
        real_us = time.time_ns() // 1000
        return self.shown_origin_us + round((real_us - self.real_origin_us) * self.rate)

    def wait_s(self, until_us: int) -> float:
        """Real seconds until this clock shows `until_us`; 0 where it is past."""
        return max(0.0, (until_us - self.utc_us()) / self.rate / 1e6)

    def discipline(self) -> Discipline:
        """Whether UTC is kept by a time service; an affine clock is exact by definition."""
        if self.is_affine:
            return Discipline("affine", True, 0)
        return _system_discipline()


def steady_ns() -> int:
    """Real nanoseconds that never go back; of no date."""
    return time.monotonic_ns()


def steady_s() -> float:
    """Real seconds that never go back; of no date."""
    return time.monotonic()


def boot_ns() -> int:
    """Nanoseconds since the machine started, sleep included."""
    return time.clock_gettime_ns(time.CLOCK_BOOTTIME)


def boot_id() -> str:
    """The kernel's name for this start of the machine."""
    return BOOT_FILE.read_text(encoding="ascii").strip()


def read_clock(path: Path | None) -> Clock:
    """The clock of a JSON file {"rate", "real_origin_us", "shown_origin_us"}; None: the real one.

    Raises ClockFileRefused.
    """
    if path is None:
        return Clock()
    try:
        plain = json.loads(path.read_text(encoding="utf-8"))
        clock = Clock(
            float(plain["rate"]), int(plain["real_origin_us"]), int(plain["shown_origin_us"])
        )
    except (OSError, ValueError, KeyError, TypeError) as fault:
        raise ClockFileRefused(
            f"clock file {path}: {type(fault).__name__}: {fault}; rate, real_origin_us and "
            "shown_origin_us are needed as JSON numbers"
        ) from fault
    if not 0 < clock.rate <= RATE_MAX:
        raise ClockFileRefused(
            f"clock file {path}: rate is {clock.rate}; it must be above 0 and at most {RATE_MAX:g}"
        )
    return clock


class _Timex(ctypes.Structure):
    """The head of the kernel's `struct timex` (adjtimex(2)); the rest is room."""

    _fields_ = (
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("rest", ctypes.c_byte * 256),
    )


_LIBC = ctypes.CDLL(None, use_errno=True)


def _system_discipline() -> Discipline:
    """By the kernel's word; where it may not be asked, by systemd's time service."""
    timex = _Timex()
    if _LIBC.adjtimex(ctypes.byref(timex)) < 0:
        synchronised = TIMESYNC_FILE.exists()
        return Discipline("timesync" if synchronised else "local", synchronised, None)
    if timex.status & STA_UNSYNC:
        return Discipline("local", False, None)
    return Discipline("ntp", True, int(timex.maxerror))
