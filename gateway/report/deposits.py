"""Measured deposits beside the index of the same structure at that time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gateway.history.loaded import DEPOSIT, LoadedRows
from gateway.reading.notes import ALWAYS_US
from gateway.trends.change import InsulatorTrend, SiteTrend
from gateway.trends.columns import DAY_US, HOUR_US

NIGHTS_DAYS = 30
"""The index at a sample's date is that of the wet nights so near to it."""
NIGHTS_MIN = 3


@dataclass(frozen=True, slots=True)
class DepositPair:
    """esdd_mg_cm2: as measured. index_ma: film current at the reference wetness in the nights
    around; None where there were too few. nights: how many."""

    insulator: str
    at_us: int
    esdd_mg_cm2: float
    nsdd_mg_cm2: float | None
    index_ma: float | None
    nights: int


def deposit_pairs(rows: LoadedRows, trend: SiteTrend) -> tuple[DepositPair, ...]:
    """Every sample of a salt deposit on a monitored insulator, in order of time."""
    trends = {one.insulator: one for one in trend.insulators}
    found = []
    for row in rows.notes(DEPOSIT, *ALWAYS_US):
        name, esdd, nsdd = str(row["insulator"]), row["esdd_ng_cm2"], row["nsdd_ng_cm2"]
        if name in trends and isinstance(esdd, int):
            at_us = int(row["start_us"] or 0)
            index, nights = _index_at(trends[name], at_us)
            dust = nsdd * 1e-6 if isinstance(nsdd, int) else None
            found.append(DepositPair(name, at_us, esdd * 1e-6, dust, index, nights))
    return tuple(found)


def _index_at(one: InsulatorTrend, at_us: int) -> tuple[float | None, int]:
    """(index of the nights around, how many): the reference index times their mean level."""
    fit, index = one.response.fit, one.index_reference_ma
    if fit is None or index is None:
        return None, 0
    apart = np.abs(one.response.night_hours * HOUR_US - at_us)
    near = fit.levels[(apart <= NIGHTS_DAYS * DAY_US) & np.isfinite(fit.levels)]
    if near.shape[0] < NIGHTS_MIN:
        return None, int(near.shape[0])
    return float(index * np.exp(np.mean(near))), int(near.shape[0])
