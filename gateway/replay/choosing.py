"""What is best of everything tried, at the same operator load and on the tuning part alone."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from gateway.replay.exact import Share, share
from gateway.replay.figures import MONTH_US
from gateway.replay.plain_limits import KINDS
from gateway.replay.sweep_tasks import OURS, Tried
from gateway.replay.sweeping import HELD_OUT, TUNING, Swept, Tally

DETECTORS = (OURS, *KINDS)


@dataclass(frozen=True, slots=True)
class Line:
    """Figures of one thing tried on one part. *_per_month: of one site that is watched for a month.
    lead_*_us: None where nothing was told; tenth: nine in ten had more."""

    tried: Tried
    part: str
    missed: Share
    alarms: int
    false: int
    alarms_per_month: float | None
    false_per_month: float | None
    lead_median_us: int | None
    lead_tenth_us: int | None
    chosen: bool


def line_of(tried: Tried, part: str, tally: Tally, chosen: bool) -> Line:
    """The figures of a tally."""
    months = tally.watched_us / MONTH_US
    leads = np.array(tally.leads_us, np.float64)
    median, tenth = np.percentile(leads, (50, 10)) if leads.size else (None, None)
    return Line(
        tried,
        part,
        share(tally.missed, tally.told + tally.missed),
        tally.alarms,
        tally.false,
        tally.alarms / months if months else None,
        tally.false / months if months else None,
        None if median is None else round(median),
        None if tenth is None else round(tenth),
        chosen,
    )


def fixed_load(swept: Swept) -> float:
    """Alarms a month of a site at which all are compared: the stated one, else that of the limits
    in force."""
    if swept.grid.alarms_per_month is not None:
        return float(swept.grid.alarms_per_month)
    line = line_of(Tried(OURS, ()), TUNING, swept.tallies[Tried(OURS, ()), TUNING], False)
    return line.alarms_per_month or 0.0


def chosen(swept: Swept) -> dict[str, Tried]:
    """By detector: fewest missed on the tuning part, then the longest median lead, then the least
    load; of those alike, the one that was named first. A detector that keeps to the load with no
    limit tried has none."""
    load = fixed_load(swept)
    found: dict[str, Tried] = {}
    for detector in DETECTORS:
        fit = [
            one
            for one in _lines(swept, detector, TUNING)
            if one.alarms_per_month is not None and one.alarms_per_month <= load * (1 + 1e-9)
        ]
        if fit:
            found[detector] = min(fit, key=_rank).tried
    return found


def _rank(line: Line) -> tuple[int, float, float]:
    lead_us = line.lead_median_us
    return (
        line.missed.count,
        float("inf") if lead_us is None else -lead_us,
        line.alarms_per_month or 0.0,
    )


def _lines(swept: Swept, detector: str, part: str) -> Iterable[Line]:
    return (
        line_of(tried, part, tally, False)
        for (tried, where), tally in swept.tallies.items()
        if tried.detector == detector and where == part
    )


def lines(swept: Swept) -> list[Line]:
    """Everything tried, by detector and in the order of the grid, both parts."""
    best = set(chosen(swept).values())
    found = [
        line_of(tried, part, tally, tried in best) for (tried, part), tally in swept.tallies.items()
    ]
    order = {name: place for place, name in enumerate(DETECTORS)}
    parts = {TUNING: 0, HELD_OUT: 1}
    return sorted(found, key=lambda one: (order[one.tried.detector], parts[one.part]))
