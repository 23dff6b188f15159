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
"""A shorter run that seems late may consist of late stamps only; it is judged with the scans that
follow."""

RUN_SCANS_MAX = 256
"""A longer run is cut, so that a rate that is off by up to a thousandth still loses nothing."""

Run = tuple[int, int, int]
"""First scan, the scan after the last, and the counter of the first."""


@dataclass(frozen=True, slots=True)
class Dating:
    """period_ns: between two scans. counter: of the next scan to be judged. origin_ns: when scan 0
    would have been taken, by the latest long run; None before it. lost: scans so far."""

    period_ns: float
    counter: int = 0
    origin_ns: float | None = None
    lost: int = 0


def judged(
    dating: Dating, stamps_ns: npt.NDArray[np.int64], *, last: bool = False
) -> tuple[Dating, tuple[Run, ...]]:
    """Runs of the scans that can be judged now.

    Scans after the last run, fewer than `RUN_SCANS_MIN`, wait for the next call, which begins with
    them. last: none waits.
    """
    runs: list[Run] = []
    first = 0
    for end in _ends(stamps_ns, dating.period_ns):
        at = dating.counter + np.arange(end - first)
        origin_ns = float(np.min(stamps_ns[first:end] - at * dating.period_ns))
        lost = _periods_late(dating, origin_ns)
        is_long = end - first >= RUN_SCANS_MIN
        if not is_long:
            if lost and not (last and end == len(stamps_ns)):
                continue
            lost, origin_ns = 0, dating.origin_ns if dating.origin_ns is not None else origin_ns
        runs.append((first, end, dating.counter + lost))
        dating = Dating(
            period_ns=dating.period_ns,
            counter=dating.counter + lost + end - first,
            origin_ns=origin_ns - lost * dating.period_ns,
            lost=dating.lost + lost,
        )
        first = end
    return dating, tuple(runs)


def _periods_late(dating: Dating, origin_ns: float) -> int:
    if dating.origin_ns is None:
        return 0
    return max(0, round((origin_ns - dating.origin_ns) / dating.period_ns))


def _ends(stamps_ns: npt.NDArray[np.int64], period_ns: float) -> list[int]:
    """Where a run may end: before a late stamp, after many scans, and at the end."""
    count = len(stamps_ns)
    late = np.flatnonzero(np.diff(stamps_ns) > STEP_PERIODS * period_ns) + 1
    ends = {*late.tolist(), *range(RUN_SCANS_MAX, count, RUN_SCANS_MAX), count}
    return sorted(ends - {0})
