"""How long the demo takes, and which night it tells in that time."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import UTC, datetime

NIGHT_MINUTES = 90
"""The night as the plans' script has it."""

RATE_MAX = 66.0
"""A second here is a little more than a minute there. Two sites at 4.8 kS/s then take about one
core of two; a demo that is shorter than a minute and a half tells a shorter night instead of a
faster one."""

NIGHT_MINUTES_MIN = 15
"""A shorter night leaves no time for an alarm's delay of three minutes."""

SECONDS_MIN, SECONDS_MAX = 20, 86_400

LEAD_S = 4.0
"""The night begins so long after the first process is started. Where starting takes longer, the
edge catches up: its source is paced by the clock, so nothing is left out."""

ENDING_S = 3.0
"""What the last records, their receipts and the summary take."""

BEGINS = datetime(2026, 11, 7, 22, 0, tzinfo=UTC)
"""The invented night, always the same, so that equal seeds give equal records."""

US_PER_S = 1_000_000


@dataclass(frozen=True, slots=True)
class Night:
    """seconds: real time from dusk to its end. minutes: of the night that is told in it. seed:
    which story."""

    seconds: float
    minutes: int
    seed: int

    @property
    def rate(self) -> float:
        """Seconds of the night for one of ours."""
        return self.minutes * 60 / self.seconds

    @property
    def begin_us(self) -> int:
        """UTC of the first sample."""
        return round(BEGINS.timestamp()) * US_PER_S

    @property
    def end_us(self) -> int:
        """UTC after the last sample."""
        return self.begin_us + self.minutes * 60 * US_PER_S

    def site_seed(self, place: int) -> int:
        """Each site has weather and arcs of its own."""
        return self.seed * 10 + place


def night_of(total_s: float, seed: int) -> Night:
    """The night that fits into a demo of that length: the whole one where there is time for it,
    else a shorter one."""
    seconds = total_s - LEAD_S - ENDING_S
    fitting = int(seconds * RATE_MAX / 60)
    return Night(seconds, max(NIGHT_MINUTES_MIN, min(NIGHT_MINUTES, fitting)), seed)


@dataclass(frozen=True, slots=True)
class NightClock:
    """The straight line through real time that all processes of a demo share."""

    rate: float
    real_origin_us: int
    shown_origin_us: int

    def utc_us(self) -> int:
        """What every process of the demo takes for UTC."""
        passed_us = time.time_ns() // 1000 - self.real_origin_us
        return self.shown_origin_us + round(passed_us * self.rate)


def clock_of(night: Night, lead_s: float) -> NightClock:
    """A clock by which the night begins in `lead_s` seconds."""
    real_us = time.time_ns() // 1000 + round(lead_s * US_PER_S)
    return NightClock(night.rate, real_us, night.begin_us)
