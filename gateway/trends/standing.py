"""How an insulator stands now, whatever changed: how near flashover it came, how much it arced.

These speak beside the change at equal wetness: a surface that is as bad as ever is not sound.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edge.decide.binding import MARGIN_DIVISOR
from gateway.trends.columns import HOUR_US, Bools, Floats, RegisterEntry
from gateway.trends.hours import CurrentHours, SiteHours
from gateway.trends.margin import ReturnLevel, flashover_limits_a, gumbel_return, peaks_return

WARNING_MA = 100.0
"""Where the creepage is not known, this peak is near (the only warning level that was found read,
for heavily polluted insulators)."""
HEAVY_SHARE, HEAVY_H = 0.05, 20.0
"""Arcing is heavy when half-cycles arc for this share of the wet hours and so many hours in all.
Design choice: far above the first arcs, far below arcing all night."""
YEAR_MONTHS = 12.0
MONTH_HOURS_MIN = 360
"""A month with fewer hours of known peaks is left out of the monthly maxima."""
PEAKS_SHARE = 0.90
"""Peaks of wet nights above this quantile enter the fit of peaks over a threshold."""


@dataclass(frozen=True, slots=True)
class Standing:
    """Of one insulator. highest_ma: highest peak of the period judged [mA]. limit_ma: I_max on
    the phase-to-phase reading, limit_earth_ma on the other; None where the creepage is not known.
    near_ma: from this peak on it counts as near. next_year, next_year_peaks: highest peak of the
    next year by monthly maxima and by nights' peaks over a threshold, with intervals; None for too
    few. arcing_h: hours of arcing in the period judged [h]; arcing_share: of its wet hours. months,
    maxima_ma: highest peak of each month (since 1970)."""

    highest_ma: float | None
    limit_ma: float | None
    limit_earth_ma: float | None
    near_ma: float
    next_year: ReturnLevel | None
    next_year_peaks: ReturnLevel | None
    arcing_h: float | None
    arcing_share: float | None
    months: tuple[int, ...]
    maxima_ma: tuple[float, ...]

    @property
    def near(self) -> bool:
        """Whether the highest peak of the period judged came near flashover."""
        return self.highest_ma is not None and self.highest_ma >= self.near_ma

    @property
    def heavy(self) -> bool:
        """Whether it arced for long and for much of the wetness."""
        hours, share = self.arcing_h or 0.0, self.arcing_share or 0.0
        return hours >= HEAVY_H and share >= HEAVY_SHARE


def standing_of(
    grid: SiteHours, current: CurrentHours, wet: Bools, later: Bools, entry: RegisterEntry
) -> Standing:
    """From the whole grid for the maxima, from the hours of `later` for the rest."""
    peaks = current.peak_ma
    months, maxima = hourly_maxima(grid, peaks)
    within = peaks[later & np.isfinite(peaks)]
    limit = earth = None
    if entry.creepage_mm_kv is not None and entry.creepage_basis is not None:
        limit, earth = flashover_limits_a(entry.creepage_mm_kv, entry.creepage_basis)
    draw = np.random.default_rng(0)  # the same interval for the same maxima
    arcing_h, share = _arcing(current, wet, later)
    return Standing(
        highest_ma=float(np.max(within)) if within.size else None,
        limit_ma=None if limit is None else 1000.0 * limit,
        limit_earth_ma=None if earth is None else 1000.0 * earth,
        near_ma=WARNING_MA if limit is None else 1000.0 * limit / MARGIN_DIVISOR,
        next_year=gumbel_return(maxima, YEAR_MONTHS, draw),
        next_year_peaks=_over_threshold(grid, peaks, wet, months.shape[0], draw),
        arcing_h=arcing_h,
        arcing_share=share,
        months=tuple(int(one) for one in months),
        maxima_ma=tuple(float(one) for one in maxima),
    )


def hourly_maxima(grid: SiteHours, peak_ma: Floats) -> tuple[Floats, Floats]:
    """(months since 1970, highest peak of each [mA]); a month known in part is left out, as
    its highest may lie in the rest."""
    at_us = (np.arange(grid.count) + grid.first_hour) * HOUR_US
    month = at_us.astype("datetime64[us]").astype("datetime64[M]").astype(np.int64)
    first = month[0] if month.size else 0
    known = np.isfinite(peak_ma)
    counted = np.bincount(month[known] - first, minlength=1)
    whole = np.unique(month[known])
    kept = whole[counted[whole - first] >= MONTH_HOURS_MIN]
    maxima = [float(np.max(peak_ma[known & (month == one)])) for one in kept]
    return kept.astype(np.float64), np.asarray(maxima, dtype=np.float64)


def _over_threshold(
    grid: SiteHours, peak_ma: Floats, wet: Bools, months: int, draw: np.random.Generator
) -> ReturnLevel | None:
    """From the highest peak of each wet night: a night is one event, not ten hours."""
    chosen = wet & np.isfinite(peak_ma)
    if not bool(np.any(chosen)) or months < 1:
        return None
    night = (np.flatnonzero(chosen) + grid.first_hour + 12) // 24
    starts = np.flatnonzero(np.diff(night, prepend=night[0] - 1))
    peaks = np.maximum.reduceat(peak_ma[chosen], starts)
    threshold = float(np.quantile(peaks, PEAKS_SHARE))
    return peaks_return(peaks, threshold, YEAR_MONTHS, float(months), draw)


def _arcing(current: CurrentHours, wet: Bools, later: Bools) -> tuple[float | None, float | None]:
    """(hours of arcing, share of the wet hours) of the period judged; a half-cycle lasts as long as
    its cover says. None where half-cycles were not counted."""
    counted = later & (current.halfcycles > 0)
    halfcycles = float(np.sum(current.halfcycles[counted]))
    if halfcycles <= 0:
        return None, None
    seconds = float(np.sum(current.cover_s[counted])) / halfcycles
    hours = float(np.sum(current.arcing[counted])) * seconds / 3600.0
    wet_h = float(np.sum(current.cover_s[counted & wet])) / 3600.0
    return hours, hours / wet_h if wet_h > 0 else None
