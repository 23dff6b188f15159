"""How near flashover the highest currents come: a margin with its basis, never a promise.

Monthly highest currents against I_max = (SCD / 15.32)^2 A peak, SCD in mm/kV (Verma 1978, as
recalled; derived for hydrophilic ceramic, not shown for silicone). Whether SCD counts on the
phase-to-phase or the phase-to-earth voltage changes I_max threefold, and the source could not be
checked: the basis must be stated, and alarms take phase-to-phase, the lower one. Twelve maxima are
few, so every level has an interval, from refitting series drawn from the fit (parametric
bootstrap; standard statistics).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edge.decide.binding import Basis
from gateway.trends.columns import Floats, IntervalColumns
from gateway.trends.exposure import month_of

VERMA_MM_KV = 15.32
EULER = 0.5772156649015329
MONTHS_MIN = 4
"""With fewer monthly maxima nothing is fitted."""
DRAWS = 2_000
EXCESSES_MIN = 8
"""With fewer peaks over the threshold nothing is fitted."""
SHAPE_MOST = 0.45
"""The shape of the tail is kept below this in size: from so few peaks a wilder one is chance."""


def flashover_limit_a(creepage_mm_kv: float, basis: Basis) -> float:
    """I_max [A peak] on the stated basis.

    SCD on phase-to-earth voltage is sqrt(3) times that on phase-to-phase: the same insulator read
    so gives thrice the current.
    """
    assert isinstance(basis, Basis), "a specific creepage distance means nothing without its basis"
    return (creepage_mm_kv / VERMA_MM_KV) ** 2


def monthly_maxima_ma(rows: IntervalColumns) -> tuple[Floats, Floats]:
    """Highest current of each month [mA] and which month (since 1970)."""
    if rows.peak_ua is None:
        return np.zeros(0), np.zeros(0)
    known = np.isfinite(rows.peak_ua)
    if not bool(np.any(known)):
        return np.zeros(0), np.zeros(0)
    months, peaks = month_of(rows.start_us[known]), rows.peak_ua[known] * 1e-3
    if bool(np.any(np.diff(months) < 0)):
        order = np.argsort(months, kind="stable")
        months, peaks = months[order], peaks[order]
    starts = np.flatnonzero(np.diff(months, prepend=months[0] - 1))
    return np.maximum.reduceat(peaks, starts), months[starts].astype(np.float64)


@dataclass(frozen=True, slots=True)
class ReturnLevel:
    """The level reached once in `blocks` blocks on average [unit of the series], with its interval;
    location, scale, shape of the fit (shape 0: Gumbel); how many it was fitted to."""

    blocks: float
    level: float
    low: float
    high: float
    location: float
    scale: float
    shape: float
    fitted: int


def gumbel_moments(maxima: Floats) -> tuple[Floats, Floats]:
    """Location and scale along the last axis: scale = sd sqrt(6) / pi, location = mean - 0.5772
    scale."""
    scale = np.std(maxima, axis=-1, ddof=1) * np.sqrt(6.0) / np.pi
    return np.asarray(np.mean(maxima, axis=-1) - EULER * scale), np.asarray(scale)


def gumbel_level(location: Floats, scale: Floats, blocks: float) -> Floats:
    """Level with a return period of `blocks`, above 1."""
    return np.asarray(location - scale * np.log(-np.log(1.0 - 1.0 / blocks)))


def gumbel_return(
    maxima: Floats, blocks: float, draw: np.random.Generator, interval: float = 0.90
) -> ReturnLevel | None:
    """Return level of block maxima by moments; None for too few of them.

    The interval is of ratios: how far, in scales, the level of a redrawn series misses the truth.
    It is wide on the high side for few months, as it should be.
    """
    count = maxima.shape[0]
    if count < MONTHS_MIN or float(np.std(maxima)) <= 0.0:
        return None
    location, scale = gumbel_moments(maxima)
    level = float(gumbel_level(location, scale, blocks))
    drawn = draw.gumbel(float(location), float(scale), (DRAWS, count))
    again, spread = gumbel_moments(drawn)
    missed = (gumbel_level(again, spread, blocks) - level) / spread
    low, high = np.quantile(missed, ((1 + interval) / 2, (1 - interval) / 2))
    return ReturnLevel(
        blocks,
        level,
        max(level - float(low * scale), 0.0),
        level - float(high * scale),
        float(location),
        float(scale),
        0.0,
        count,
    )


def pareto_moments(excesses: Floats) -> tuple[Floats, Floats]:
    """Scale and shape of the generalised Pareto distribution by probability-weighted moments
    (Hosking and Wallis 1987, as recalled; checked against scipy in the tests), last axis."""
    ordered = np.sort(excesses, axis=-1)
    n = ordered.shape[-1]
    mean = np.mean(ordered, axis=-1)
    lower = np.mean(ordered * (n - np.arange(1, n + 1)) / (n - 1.0), axis=-1)
    shape = np.clip(2.0 - mean / np.maximum(mean - 2.0 * lower, 1e-12), -SHAPE_MOST, SHAPE_MOST)
    return np.asarray(mean * (1.0 - shape)), np.asarray(shape)


def pareto_level(scale: Floats, shape: Floats, expected: Floats | float) -> Floats:
    """Excess that is passed once where `expected` excesses happen."""
    small = np.abs(shape) < 1e-6
    safe = np.where(small, 1.0, shape)
    curved = scale / safe * (np.power(expected, safe) - 1.0)
    return np.asarray(np.where(small, scale * np.log(expected), curved))


def peaks_return(
    peaks: Floats,
    threshold: float,
    blocks: float,
    observed_blocks: float,
    draw: np.random.Generator,
    interval: float = 0.90,
) -> ReturnLevel | None:
    """Return level from peaks over a threshold; None for too few.

    peaks: one for each independent event (a wet episode), else the interval is too narrow.
    observed_blocks: how long they were collected, in blocks (months).
    """
    excesses = peaks[peaks > threshold] - threshold
    count = excesses.shape[0]
    if count < EXCESSES_MIN:
        return None
    scale, shape = pareto_moments(excesses)
    expected = max(count / observed_blocks * blocks, 1.0 + 1e-9)
    level = float(pareto_level(scale, shape, expected))
    uniform = draw.random((DRAWS, count))
    drawn = pareto_level(scale, shape, 1.0 / np.maximum(uniform, 1e-12))
    again, bent = pareto_moments(drawn)
    missed = (pareto_level(again, bent, expected) - level) / np.maximum(again, 1e-12)
    low, high = np.quantile(missed, ((1 + interval) / 2, (1 - interval) / 2))
    return ReturnLevel(
        blocks,
        threshold + level,
        threshold + max(level - float(low * scale), 0.0),
        threshold + level - float(high * scale),
        threshold,
        float(scale),
        float(shape),
        count,
    )


def flashover_limits_a(creepage_mm_kv: float, basis: Basis) -> tuple[float, float]:
    """I_max [A peak] of one insulator read both ways: on phase-to-phase and on phase-to-earth
    voltage. What is decided is decided on the lower one."""
    unified = creepage_mm_kv * (np.sqrt(3.0) if basis is Basis.PHASE_PHASE else 1.0)
    high = flashover_limit_a(float(unified), Basis.PHASE_EARTH)
    return high / 3.0, high


@dataclass(frozen=True, slots=True)
class Margin:
    """The highest current so far and the level of the next year against I_max, all in mA peak.

    share_*: of I_max. next_year: None where there are too few months.
    """

    basis: Basis
    limit_ma: float
    highest_ma: float
    share_highest: float
    next_year: ReturnLevel | None
    share_next_year: float | None
    share_next_year_high: float | None


def margin_of(
    maxima_ma: Floats, creepage_mm_kv: float, basis: Basis, draw: np.random.Generator
) -> Margin | None:
    """The margin from monthly maxima; None without any."""
    limit_ma = 1000.0 * flashover_limit_a(creepage_mm_kv, basis)
    if not maxima_ma.size:
        return None
    highest = float(np.max(maxima_ma))
    year = gumbel_return(maxima_ma, 12.0, draw)
    return Margin(
        basis=basis,
        limit_ma=limit_ma,
        highest_ma=highest,
        share_highest=highest / limit_ma,
        next_year=year,
        share_next_year=None if year is None else year.level / limit_ma,
        share_next_year_high=None if year is None else year.high / limit_ma,
    )
