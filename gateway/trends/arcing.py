"""Arcing against wetness: the share of half-cycles that arc, never falling with humidity."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gateway.trends.columns import Bools, Floats, Ints
from gateway.trends.curve import rising
from gateway.trends.distributions import two_sided_t
from gateway.trends.hours import CurrentHours, SiteHours
from gateway.trends.selecting import night_of

BAND_EDGES_PCT = (0.0, 60.0, 65.0, 70.0, 75.0, 80.0, 85.0, 90.0, 95.0, 100.1)
BAND_NIGHTS_MIN = 3
"""A band seen in fewer nights has no interval."""


@dataclass(frozen=True, slots=True)
class ArcingBand:
    """from_pct to to_pct humidity: share of half-cycles that arc, made rising over the bands, its
    interval over nights (None for too few), hours and nights."""

    from_pct: float
    to_pct: float
    share: float
    low: float | None
    high: float | None
    hours: int
    nights: int


def arcing_response(
    grid: SiteHours, current: CurrentHours, chosen: Bools, level: float
) -> tuple[ArcingBand, ...]:
    """Bands with counted half-cycles, from dry to wet. Nights are the witnesses, not hours."""
    known = chosen & np.isfinite(grid.rh_pct) & (current.halfcycles > 0)
    band = np.searchsorted(BAND_EDGES_PCT, grid.rh_pct, side="right") - 1
    night = night_of(grid)
    found = [
        _band(current, night, known & (band == k), k, level) for k in range(len(BAND_EDGES_PCT) - 1)
    ]
    bands = [one for one in found if one is not None]
    if not bands:
        return ()
    shares = rising(np.array([one.share for one in bands]), np.array([one.hours for one in bands]))
    return tuple(_with_share(one, float(s)) for one, s in zip(bands, shares, strict=True))


def _band(
    current: CurrentHours, night: Ints, within: Bools, k: int, level: float
) -> ArcingBand | None:
    if not bool(np.any(within)):
        return None
    keys, place = np.unique(night[within], return_inverse=True)
    arcing = np.bincount(place, current.arcing[within])
    counted = np.bincount(place, current.halfcycles[within])
    share = float(arcing.sum() / counted.sum())
    low = high = None
    if keys.shape[0] >= BAND_NIGHTS_MIN:
        wide = _wide(arcing - share * counted, float(counted.sum()), level)
        low, high = max(share - wide, 0.0), min(share + wide, 1.0)
    edges = BAND_EDGES_PCT[k], BAND_EDGES_PCT[k + 1]
    return ArcingBand(*edges, share, low, high, int(within.sum()), int(keys.shape[0]))


def _wide(away: Floats, counted: float, level: float) -> float:
    """Half-width from the scatter of nights about the pooled share (ratio estimator)."""
    nights = away.shape[0]
    sd = float(np.sqrt(np.sum(np.square(away)) * nights / (nights - 1.0))) / counted
    return two_sided_t(level, nights - 1) * sd


def _with_share(band: ArcingBand, share: float) -> ArcingBand:
    return ArcingBand(
        band.from_pct,
        band.to_pct,
        share,
        None if band.low is None else min(band.low, share),
        None if band.high is None else max(band.high, share),
        band.hours,
        band.nights,
    )
