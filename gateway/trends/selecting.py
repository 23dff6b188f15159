"""Which hours enter the comparison: dry levels, hours clear of the floor, nights and blocks.

Hours are chosen by humidity alone. Choosing by current would drop the quiet hours of one period and
keep them in the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gateway.trends.columns import Bools, Floats, Ints, Period
from gateway.trends.hours import CurrentHours, SiteHours
from gateway.trends.memory import remembered
from gateway.trends.mixed import CLOCK
from gateway.trends.model import Hours
from gateway.trends.wetness import wet_hours

DRY_RH_PCT = 55.0
DRY_AT_MOST_RH_PCT = 70.0
DRY_HOURS_MIN = 12
"""The dry level is the median of hours below DRY_RH_PCT, or of the driest tenth where fewer are;
unknown where that reaches above DRY_AT_MOST_RH_PCT."""
CLEAR_OF_FLOOR = 2.0
"""A band of humidity enters when its median current is this many times the noise floor."""
FLOOR_SHARE = 0.15
"""Floor: three spreads of the dry hours, at least this share of the dry level."""
RANGE_MOST = 100.0
"""Currents below this share of the highest are taken as the floor: a log of nearly nothing says
more about the sensor than about the surface."""
BAND_PCT = 2.5
BAND_HOURS_MIN = 3
LOWEST_RH_PCT = 45.0
NIGHTS_MIN = 5
"""With fewer wet nights in either period nothing is said of a change."""
BLOCK_DAYS = (7, 3, 1)
BLOCKS_WANTED = 8
"""Nights are put into blocks of so many days while each period keeps so many blocks."""
WETTED_RH_PCT, LEFT_RH_PCT = 80.0, 60.0
"""Hours after the humidity was above the first and before it was below the second are looked at
apart from the others: salt that has not dissolved conducts nothing at the same humidity."""

RAIN_MM = 0.1
RAIN_WETS_HOURS = 3
"""A surface that rain has wetted is wetter than the humidity says, for about so long after it: such
hours are left out."""
DAY_HOURS = 24

NO_HOURS: Ints = np.zeros(0, np.int64)


@dataclass(frozen=True, slots=True)
class DryLevel:
    """The capacitive current: median [mA], noise floor of what is left without it [mA], hours."""

    level_ma: float
    floor_ma: float
    hours: int


Dry = tuple[DryLevel | None, DryLevel | None]
"""Of the earlier and of the later period."""


def dry_level(current_ma: Floats, rh_pct: Floats, chosen: Bools) -> DryLevel | None:
    """The dry level among the chosen hours; None without a dozen hours."""
    known = chosen & np.isfinite(current_ma) & np.isfinite(rh_pct)
    if int(known.sum()) < DRY_HOURS_MIN:
        return None
    limit = DRY_RH_PCT
    if int((known & (rh_pct < limit)).sum()) < DRY_HOURS_MIN:
        limit = (
            max(float(np.quantile(rh_pct[known], 0.1)), float(np.sort(rh_pct[known])[11])) + 0.01
        )
    if limit > DRY_AT_MOST_RH_PCT:
        return None
    dry = current_ma[known & (rh_pct < limit)]
    level = float(np.median(dry))
    left = np.square(dry) - level**2
    spread = 1.4826 * float(np.median(np.abs(left - np.median(left))))
    floor = max(np.sqrt(3.0 * spread), FLOOR_SHARE * level, 1e-6)
    return DryLevel(level, float(floor), int(dry.shape[0]))


def resistive_ma(hours: CurrentHours, dry: DryLevel) -> Floats:
    """Current without its dry level: in quadrature where only r.m.s. is known."""
    if hours.in_phase:
        return np.maximum(hours.current_ma - dry.level_ma, 0.0)
    return np.asarray(np.sqrt(np.maximum(np.square(hours.current_ma) - dry.level_ma**2, 0.0)))


def places(grid: SiteHours, period: Period) -> Bools:
    """Hours of the grid within a period."""
    inside = np.zeros(grid.count, dtype=np.bool_)
    inside[grid.place(period.from_us) : grid.place(period.to_us)] = True
    return inside


def night_of(grid: SiteHours) -> Ints:
    """Number of the night of each hour: nights begin at the hour of the day driest on average."""
    clock = (np.arange(grid.count) + grid.first_hour) % 24
    filled = np.where(np.isfinite(grid.rh_pct), grid.rh_pct, 100.0)
    by_clock = np.bincount(clock, filled, 24) / np.maximum(np.bincount(clock, minlength=24), 1)
    return np.asarray((np.arange(grid.count) + grid.first_hour - int(np.argmin(by_clock))) // 24)


def _lowest_clear(log_ma: Floats, rh_pct: Floats, floor_ma: float) -> float:
    """Lowest humidity down to which every band is clear of the floor; inf where none.

    Clear: the median is CLEAR_OF_FLOOR times the floor, and four in five hours are above it (where
    salt has not dissolved in part of the hours, the rest would pass for the whole).
    """
    band = (rh_pct // BAND_PCT).astype(np.int64)
    lowest = np.inf
    for one in range(int(100 // BAND_PCT), int(LOWEST_RH_PCT // BAND_PCT) - 1, -1):
        within = log_ma[band == one]
        if within.shape[0] < BAND_HOURS_MIN:
            continue
        low, median = np.quantile(within, (0.2, 0.5))
        if median < np.log(CLEAR_OF_FLOOR * floor_ma) or low <= np.log(floor_ma):
            break
        lowest = one * BAND_PCT
    return float(lowest)


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """The hours that enter, with their places on the grid; why is set where there are too few."""

    hours: Hours | None
    at: Ints
    nights: tuple[int, int]
    block_keys: Ints
    dry: Dry
    why: str


def dry_levels(grid: SiteHours, current: CurrentHours, earlier: Bools, later: Bools) -> Dry:
    """Dry level of each period; where one has no dry hours the other's serves for both."""
    first, second = (dry_level(current.current_ma, grid.rh_pct, one) for one in (earlier, later))
    return first or second, second or first


def choose(
    grid: SiteHours, current: CurrentHours, earlier: Bools, later: Bools, dry: Dry
) -> Chosen:
    """Hours of both periods with the current clear of the floor, by humidity alone.

    Clear in both: where one of them is at its floor, what is seen of the other is no comparison.
    """
    nothing = Chosen(None, NO_HOURS, (0, 0), NO_HOURS, dry, "")
    if dry[0] is None or dry[1] is None:
        return _why(nothing, "no dry hours with a current: its dry level is unknown")
    highest = np.nanquantile(current.current_ma[earlier | later], 0.99)
    floor_ma = max(dry[0].floor_ma, dry[1].floor_ma, float(highest) / RANGE_MOST)
    log_ma = np.full(grid.count, np.nan)
    wetted = wet_hours(grid.rh_pct, None, WETTED_RH_PCT, LEFT_RH_PCT)
    lowest = np.full(grid.count, -np.inf)
    for which, level in ((earlier, dry[0]), (later, dry[1])):
        left = np.log(np.maximum(resistive_ma(current, level), floor_ma))
        known = which & np.isfinite(current.current_ma) & np.isfinite(grid.rh_pct)
        log_ma[known] = left[known]
        for branch in (wetted, ~wetted):
            along = known & branch
            lowest[branch] = np.maximum(
                lowest[branch], _lowest_clear(left[along], grid.rh_pct[along], floor_ma)
            )
    kept = np.isfinite(log_ma) & (grid.rh_pct >= lowest)
    kept &= ~rained_on(grid.rain_mm)
    at = np.flatnonzero(kept)
    night = night_of(grid)
    nights = (
        int(np.unique(night[kept & earlier]).shape[0]),
        int(np.unique(night[kept & later]).shape[0]),
    )
    if min(nights) < NIGHTS_MIN:
        return _why(
            Chosen(None, at, nights, NO_HOURS, dry, ""),
            f"{nights[0]} and {nights[1]} wet nights with a clear current; {NIGHTS_MIN} are needed",
        )
    keys, block = np.unique(_blocks(night[at], later[at]), return_inverse=True)
    past = remembered(grid)
    hours = Hours(
        log_ma=log_ma[at],
        felt_pct=past.felt_pct[at],
        air_k=_air(grid.air_c)[at],
        clock=_clock(at + grid.first_hour),
        falling=past.falling[at],
        lost=past.lost[at],
        later=later[at].astype(np.float64),
        night=np.unique(night[at] * 2 + later[at], return_inverse=True)[1].astype(np.int64),
        block=block.astype(np.int64),
    )
    return Chosen(hours, at, nights, keys, dry, "")


def _why(chosen: Chosen, why: str) -> Chosen:
    return Chosen(chosen.hours, chosen.at, chosen.nights, chosen.block_keys, chosen.dry, why)


def _air(air_c: Floats) -> Floats:
    """Warmth of the day about each hour against its mean [K]; 0 where unknown.

    The hour's own warmth would be the sun's, which dries the surface.
    """
    known = np.isfinite(air_c).astype(np.float64)
    window = np.ones(min(DAY_HOURS, known.shape[0]))
    counts = np.convolve(known, window, "same")
    sums = np.convolve(np.where(known > 0, air_c, 0.0), window, "same")
    day = sums / np.maximum(counts, 1.0)
    mean = float(np.mean(day[counts > 0])) if bool(np.any(counts > 0)) else 0.0
    return np.asarray(np.where(counts > 0, day - mean, 0.0))


def _clock(hours: Ints) -> Floats:
    """Harmonics of the time of day."""
    turn = 2.0 * np.pi * (hours % DAY_HOURS) / DAY_HOURS
    waves = [wave(k * turn) for k in range(1, CLOCK // 2 + 1) for wave in (np.cos, np.sin)]
    return np.asarray(np.column_stack(waves))


def rained_on(rain_mm: Floats) -> Bools:
    """Hours with rain and RAIN_WETS_HOURS hours after them."""
    raining = np.nan_to_num(rain_mm) >= RAIN_MM
    wetted = raining.copy()
    for after in range(1, RAIN_WETS_HOURS + 1):
        wetted[after:] |= raining[:-after]
    return np.asarray(wetted)


def _blocks(night: Ints, later: Bools) -> Ints:
    """Blocks of days, never across the periods; as long as each period keeps enough of them.

    A block is named by its first day, its length and its period.
    """
    block = np.zeros(night.shape[0], np.int64)
    for days in BLOCK_DAYS:
        block = (night // days * days) * 100 + days * 2 + later
        if min(np.unique(block[later]).size, np.unique(block[~later]).size) >= BLOCKS_WANTED:
            break
    return block
