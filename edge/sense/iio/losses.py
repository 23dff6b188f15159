"""Scans that the kernel dropped, told from the time stamps of those that came. Pure.

A stamp is never early, but may be late by the time that the interrupt waited. So the stamp that is
least late in a run of scans dates the run, and scans are missing where one run begins whole periods
later than the run before says.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

STEP_PERIODS = 1.5
"""A stamp later than its neighbour by more than this may begin a new run."""

RUN_SCANS_MIN = 8
"""A shorter run may consist of late stamps only; it is judged with the scans that follow."""

RUN_SCANS_MAX = 256
"""A longer run is cut, so that a rate that is off by up to a thousandth still loses nothing."""


@dataclass(frozen=True, slots=True)
class Dating:
    """period_ns: between two scans. counter: of the next scan to be judged. origin_ns: when scan 0
    would have been taken, by the latest run; None before the first. lost: scans so far."""

    period_ns: float
    counter: int = 0
    origin_ns: float | None = None
    lost: int = 0


def judged(
    dating: Dating, stamps_ns: npt.NDArray[np.int64], *, last: bool = False
) -> tuple[Dating, tuple[tuple[int, int, int], ...]]:
    """Runs (first, end, counter of the first) of the scans that can be judged now.

    Scans after the last run wait for the next call, which begins with them. last: none waits.
    """
    runs: list[tuple[int, int, int]] = []
    for first, end in _runs(stamps_ns, dating.period_ns, last):
        at = dating.counter + np.arange(end - first)
        origin_ns = float(np.min(stamps_ns[first:end] - at * dating.period_ns))
        lost = 0
        if dating.origin_ns is not None:
            lost = max(0, round((origin_ns - dating.origin_ns) / dating.period_ns))
        counter = dating.counter + lost
        dating = Dating(
            period_ns=dating.period_ns,
            counter=counter + end - first,
            origin_ns=origin_ns - lost * dating.period_ns,
            lost=dating.lost + lost,
        )
        runs.append((first, end, counter))
    return dating, tuple(runs)


def _runs(stamps_ns: npt.NDArray[np.int64], period_ns: float, last: bool) -> list[tuple[int, int]]:
    """Cut where a stamp is late, and where a run is long; short ones are put to the next."""
    count = len(stamps_ns)
    late = np.flatnonzero(np.diff(stamps_ns) > STEP_PERIODS * period_ns) + 1
    ends = sorted({*late.tolist(), *range(RUN_SCANS_MAX, count, RUN_SCANS_MAX), count})
    runs: list[tuple[int, int]] = []
    first = 0
    for end in ends:
        if end - first >= RUN_SCANS_MIN or (last and end == count > first):
            runs.append((first, end))
            first = end
    return runs
