"""The gateway's only reader of real clocks.

`rate` and the two origins make it one straight line through real time, so that a demo can live a
night in a minute: shown = shown_origin + (real - real_origin) * rate.
"""

from __future__ import annotations

import time
from dataclasses import dataclass


def steady_s() -> float:
    """Real seconds that never go back; of no date."""
    return time.monotonic()


@dataclass(frozen=True, slots=True)
class Clock:
    """UTC and a steady clock, both at `rate` times real time."""

    rate: float = 1.0
    real_origin_us: int = 0
    shown_origin_us: int = 0

    def utc_us(self) -> int:
        """UTC, microseconds since 1970-01-01."""
        real_us = time.time_ns() // 1000
        return self.shown_origin_us + round((real_us - self.real_origin_us) * self.rate)

    def steady_s(self) -> float:
        """Seconds that never go back; of no date."""
        return time.monotonic() * self.rate
