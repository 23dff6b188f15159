"""Where a moment stands across the page: seconds of signal, with long gaps drawn narrow.

Recordings that were triggered lie hours apart and last a second each; on a plain axis of time they
would be dots. A gap keeps its length up to a small share of the signal, then it is a marked slot.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import numpy.typing as npt

from gateway.replay.pictures.series import Series

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

SLOT_SHARE = 0.012
"""A longer gap than this share of the signal is drawn as a slot of this width."""

TICKS = 7
TICK_APART_SHARE = 0.11
"""Ticks closer together than this share of the page would overlap; the later one is left out."""

STEPS_S = (
    *(0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30),
    *(60, 120, 300, 600, 1_200, 1_800, 3_600, 7_200, 14_400, 21_600, 43_200),
    *(86_400, 172_800, 604_800, 1_209_600, 2_592_000),
)


@dataclass(frozen=True, slots=True, eq=False)
class Timeline:
    """begin, end: places of each entry of a series, in seconds from the left edge.

    slots: (begin, end) of gaps drawn narrow. ticks: places and their times as text.
    """

    begin: Floats
    end: Floats
    slots: tuple[tuple[float, float], ...]
    ticks: tuple[tuple[float, str], ...]

    @property
    def width(self) -> float:
        """Of the page."""
        return float(self.end[-1])

    @property
    def breaks(self) -> npt.NDArray[np.bool_]:
        """After which entries data are missing, the last one included."""
        apart = self.begin[1:] - self.end[:-1]
        return np.append(apart > 0.25 * (self.end[:-1] - self.begin[:-1]), True)


def timeline(series: Series) -> Timeline:
    """The places of a series."""
    begin_s = (series.begin_us - series.begin_us[0]) / 1e6
    end_s = (series.end_us - series.begin_us[0]) / 1e6
    gaps = np.maximum(begin_s[1:] - end_s[:-1], 0.0)
    slot_s = SLOT_SHARE * float(np.sum(end_s - begin_s))
    is_slot = gaps > slot_s
    cut = np.concatenate([[0.0], np.cumsum(np.where(is_slot, gaps - slot_s, 0.0))])
    begin, end = begin_s - cut, end_s - cut
    slots = [(float(end[n]), float(begin[n + 1])) for n in np.flatnonzero(is_slot)]
    ticks = _ticks(series, begin, end, is_slot)
    return Timeline(begin, end, tuple(slots), ticks)


def _ticks(
    series: Series, begin: Floats, end: Floats, is_slot: npt.NDArray[np.bool_]
) -> tuple[tuple[float, str], ...]:
    """Round times within each stretch without a slot; the start of one too short to have any."""
    width = float(end[-1])
    step_s = next((step for step in STEPS_S if step * TICKS >= width), STEPS_S[-1])
    span_s = (int(series.end_us[-1]) - int(series.begin_us[0])) / 1e6
    firsts = [0, *(np.flatnonzero(is_slot) + 1).tolist()]
    lasts = [*(np.flatnonzero(is_slot)).tolist(), len(begin) - 1]
    ticks: list[tuple[float, str]] = []
    for first, last in zip(firsts, lasts, strict=True):
        start_us = int(series.begin_us[first])
        step_us = round(step_s * 1e6)
        round_us = range(-(-start_us // step_us) * step_us, int(series.end_us[last]) + 1, step_us)
        for at_us in list(round_us) or [start_us]:
            place = float(begin[first]) + (at_us - start_us) / 1e6
            far = not ticks or place - ticks[-1][0] >= TICK_APART_SHARE * width
            if far and place <= 0.97 * width:
                ticks.append((place, _text(at_us, step_s, span_s)))
    return tuple(ticks)


def _text(at_us: int, step_s: float, span_s: float) -> str:
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=at_us)
    if step_s >= 86_400:
        return f"{at:%d %b %Y}" if span_s > 300 * 86_400 else f"{at:%d %b}"
    if span_s > 86_400:
        return f"{at:%d %b %H:%M}"
    if step_s >= 60:
        return f"{at:%H:%M}"
    return f"{at:%H:%M:%S}" if step_s >= 1 else f"{at:%H:%M:%S}.{at.microsecond // 100_000}"
