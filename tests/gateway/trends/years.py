"""Seeded years of a made-up site over real coastal humidity: what happened is known exactly.

Humidity and temperature are those of typical years that pvlib carries (12839.tm2 and 703165TY.csv,
both on a coast); everything else is drawn. A night multiplies all currents by e**(0.5 g). Nothing
of the model that is under test is used here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
import pvlib

from gateway.trends.columns import (
    HOUR_US,
    Floats,
    IntervalColumns,
    MaintenanceRow,
    Period,
    RegisterEntry,
    SiteColumns,
    SurfaceType,
    WeatherColumns,
)

START_US = 1_735_689_600_000_000  # 2025-01-01
HOURS = 8_760
FILES = ("12839.tm2", "703165TY.csv")


@cache
def real_weather(file: str) -> tuple[Floats, Floats]:
    """Humidity [%] and air temperature [degC] of 8,760 hours."""
    lines = (Path(pvlib.__file__).parent / "data" / file).read_text().splitlines()
    if file.endswith(".tm2"):
        rh = np.array([float(line[79:82]) for line in lines[1:]])
        return rh, np.array([float(line[67:71]) / 10.0 for line in lines[1:]])
    header = lines[1].split(",")
    columns = [header.index("RHum (%)"), header.index("Dry-bulb (C)")]
    cells = np.array([[float(line.split(",")[k]) for k in columns] for line in lines[2:]])
    return cells[:, 0], cells[:, 1]


@dataclass(frozen=True, slots=True)
class Year:
    """How a year is drawn. From `change_hour` on: factor (deposit) and onset_drop [% RH] by
    insulator; recovers_after_h: the drop is gone once so many dry hours have passed in one run;
    back_hour: it is gone from then on.

    fade, bypass: gain that the sensor ends at, that a shunt leaves, by insulator. probe_drift_pct:
    what the probe reads too high at the end. shape: of the response. memory_pct: width of the
    hysteresis. common: share of the night effect (variance) that all insulators have in common.
    nightly_from: hour of the day at which a new night effect is drawn.
    """

    seed: int
    years: int = 1
    file: str = FILES[0]
    insulators: int = 4
    change_hour: int = HOURS // 2
    factor: Mapping[int, float] = field(default_factory=dict)
    onset_drop: Mapping[int, float] = field(default_factory=dict)
    recovers_after_h: float | None = None
    back_hour: int | None = None
    fade: Mapping[int, float] = field(default_factory=dict)
    bypass: Mapping[int, float] = field(default_factory=dict)
    dies: Sequence[int] = ()
    outage_hours: int = 0
    gap_share: float = 0.05
    probe_drift_pct: float = 0.0
    shape: str = "logistic"
    memory_pct: float = 4.0
    relay: bool = False
    night_sd: float = 0.5
    common: float = 0.5
    carry: float = 0.0
    nightly_from: int = 17
    hour_sd: float = 0.15
    plateau_ma: float = 2.0
    dry_ma: float = 0.08
    dryer_first_pct: float = 0.0
    minutes: int = 60
    rain: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Made:
    """The columns of a year and the two halves to compare."""

    site: SiteColumns
    weather: WeatherColumns
    register: dict[str, RegisterEntry]
    reference: Period
    now: Period
    maintenance: tuple[MaintenanceRow, ...] = ()


def name(k: int) -> str:
    return f"P{k + 1}"


def made(year: Year, maintenance: tuple[MaintenanceRow, ...] = ()) -> Made:
    """Draws a year."""
    draw = np.random.default_rng([year.seed, 5])
    hours = HOURS * year.years
    rh, air = (np.tile(one, year.years) for one in real_weather(year.file))
    roll = int(draw.integers(0, HOURS // 24)) * 24
    rh, air = np.roll(rh, roll), np.roll(air, roll)
    rh = np.clip(rh + draw.uniform(-0.5, 0.5, hours), 1.0, 100.0)
    rh[: year.change_hour] -= year.dryer_first_pct
    rain = np.where((rh > 85) & (draw.random(hours) < 0.04), draw.exponential(4.0, hours), 0.0)
    at = np.arange(hours)
    read = np.clip(rh + year.probe_drift_pct * at / hours + draw.normal(0, 0.5, hours), 1.0, 100.0)
    wet_memory = _relay(rh) if year.relay else np.ones(hours)
    effective = _play(rh, year.memory_pct)
    nights = _nights(draw, year, hours)
    start = START_US + at * HOUR_US
    rows = {}
    for k in range(year.insulators):
        own = draw.normal(0, 0.4), draw.uniform(-2.0, 2.0)
        current = _current(draw, year, k, effective, own) * np.exp(nights[:, k]) * wet_memory
        rms = np.sqrt(year.dry_ma**2 + current**2) * np.exp(draw.normal(0, 0.03, hours))
        rows[name(k)] = _rows(draw, year, k, start, rms * _gain(year, k, hours))
    weather = WeatherColumns(
        start, np.full(hours, HOUR_US), np.round(read, 2), air, rain_mm=rain if year.rain else None
    )
    middle, end = int(start[year.change_hour]), int(start[-1]) + HOUR_US
    return Made(
        SiteColumns("shingle-spit", rows),
        weather,
        {one: RegisterEntry(SurfaceType.COMPOSITE, "24 kV") for one in rows},
        Period(START_US, middle),
        Period(middle, end),
        maintenance,
    )


def _relay(rh: Floats) -> Floats:
    """Salt dissolves at 76 %, dries out below 55 %."""
    wet, state = np.zeros(rh.shape[0]), 0.0
    for k, one in enumerate(rh):
        state = 1.0 if one >= 76 else (0.0 if one < 55 else state)
        wet[k] = state
    return wet


def _play(rh: Floats, width: float) -> Floats:
    """The film lags: humidity as it feels it, by a play of `width`."""
    felt, state = np.empty_like(rh), float(rh[0])
    for k, one in enumerate(rh):
        state = min(max(state, one - width / 2), one + width / 2)
        felt[k] = state
    return felt


def _nights(draw: np.random.Generator, year: Year, hours: int) -> Floats:
    night = (np.arange(hours) - year.nightly_from + 24) // 24
    count = int(night.max()) + 1
    shared = _carried(draw.normal(0, 1, (count, 1)), year.carry)
    own = _carried(draw.normal(0, 1, (count, year.insulators)), year.carry)
    both = np.sqrt(year.common) * shared + np.sqrt(1 - year.common) * own
    return np.asarray(year.night_sd * both[night])


def _carried(noise: Floats, carry: float) -> Floats:
    for k in range(1, noise.shape[0]):
        noise[k] = carry * noise[k - 1] + np.sqrt(1 - carry**2) * noise[k]
    return noise


def _current(
    draw: np.random.Generator, year: Year, k: int, felt: Floats, own: tuple[float, float]
) -> Floats:
    later = np.arange(felt.shape[0]) >= year.change_hour
    drop = np.where(later, year.onset_drop.get(k, 0.0), 0.0)
    if year.back_hour is not None:
        drop = np.where(np.arange(felt.shape[0]) < year.back_hour, drop, 0.0)
    if year.recovers_after_h is not None:
        drop = drop * (_dry_before(felt) < year.recovers_after_h)
    x = felt + drop - own[1]
    if year.shape == "logistic":
        share = 1.0 / (1.0 + np.exp(-(x - 82.0) / 3.0))
    elif year.shape == "power":
        share = (np.clip(x - 60.0, 0.0, 38.0) / 38.0) ** 3
    else:
        share = np.clip((x - 70.0) / 20.0, 0.0, 1.0)
    factor = np.where(later, year.factor.get(k, 1.0), 1.0)
    noise = np.exp(draw.normal(0, year.hour_sd, felt.shape[0]))
    return np.asarray(year.plateau_ma * np.exp(own[0]) * share * factor * noise)


def _dry_before(felt: Floats) -> Floats:
    """Longest latest dry run (below 72 %) before each hour, kept until a wet day ends it."""
    out, run, kept = np.empty_like(felt), 0, 0
    for i, one in enumerate(felt):
        run = run + 1 if one < 72 else 0
        kept = run if run else kept
        out[i] = kept
    return out


def _gain(year: Year, k: int, hours: int) -> Floats:
    gain = np.ones(hours)
    after = np.arange(hours) - year.change_hour
    span = hours - year.change_hour
    if k in year.fade:
        gain = 1.0 - (1.0 - year.fade[k]) * np.clip(after / span, 0.0, 1.0)
    if k in year.bypass:
        gain = np.where(after > 0, year.bypass[k], gain)
    if k in year.dies:
        gain = np.where(after > span // 3, 0.0, gain)
    if year.outage_hours:
        out = (after > span // 4) & (after <= span // 4 + year.outage_hours)
        gain = np.where(out, 0.0, gain)
    return gain


def _rows(
    draw: np.random.Generator, year: Year, k: int, start: np.ndarray, rms_ma: Floats
) -> IntervalColumns:
    parts = 60 // year.minutes
    kept = np.repeat(draw.random(start.shape[0]) >= year.gap_share, parts)
    step = HOUR_US // parts
    at = (start[:, None] + np.arange(parts) * step).ravel()[kept]
    rms = np.repeat(rms_ma, parts)[kept] * np.exp(draw.normal(0, 0.02, at.shape[0]))
    halfcycles = np.full(at.shape[0], 6_000 * year.minutes)
    arcing = np.floor(halfcycles * 0.02 * np.clip(rms / 2.0 - 1.0, 0.0, 1.0)).astype(np.int64)
    return IntervalColumns(
        start_us=at,
        duration_us=np.full(at.shape[0], step),
        rms_na=np.round(rms * 1e6),
        peak_ua=np.round(rms * 1e3 * 1.5),
        halfcycles=halfcycles,
        arcing_halfcycles=arcing,
        charge_nc=np.round(rms * 0.9 * step).astype(np.int64),
    )
