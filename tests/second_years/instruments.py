"""What the instruments made of it: a humidity probe that drifts and sticks, current rows with gaps.

The trend is given these rows only. Current rows are hourly or ten-minute rows as a logger or the
edge would keep them; a poor logger knows neither the voltage nor the current in phase with it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.quantities import STATES, State
from gateway.trends import IntervalColumns, WeatherColumns
from tests.second_years.climate import Climate, Floats
from tests.second_years.surface import Truth, as_counts

HOUR_US = 3_600_000_000
HALFCYCLES_H = 360_000
FULL_SCALE_MA = 80.0
Bools = npt.NDArray[np.bool_]
WET_MA, DENSE = 0.3, 0.5
NOISE_MA = 0.003
"""Floor of an ordinary current sensor."""


@dataclass(frozen=True, slots=True)
class Probe:
    """The site's humidity probe. offset_pct: shape (hours,). top_pct: it never reads more.

    sticks_h: how long it stays high after saturation. holes: hours without a row.
    """

    offset_pct: Floats
    top_pct: float
    sticks_h: float
    holes: Bools


@dataclass(frozen=True, slots=True)
class Loggers:
    """The current sensors of a site. gain, holes: shape (hours, insulators). dead: no voltage,
    shape (hours,); dead_said: whether rows say so. dry_ma: capacitive current of each.

    rich: state, voltage and in-phase current are recorded. noise_ma: floor of the sensor.
    arcs: whether its arc counter works.
    """

    gain: Floats
    holes: Bools
    dead: Bools
    dead_said: bool
    dry_ma: Floats
    rich: bool
    noise_ma: float = NOISE_MA
    arcs: bool = True


def holes(rng: np.random.Generator, hours: int, share: float, long_ones: int) -> Bools:
    """Hours without rows: single ones, and a few breaks of two to ten days."""
    lost = rng.random(hours) < share
    for _ in range(long_ones):
        at = int(rng.integers(0, hours))
        lost[at : at + int(rng.integers(48, 240))] = True
    return lost


def ordinary_probe(rng: np.random.Generator, hours: int) -> Probe:
    """A probe of two per cent with a slow drift, as one buys them (common practice)."""
    drift = rng.normal(0, 0.4) * np.arange(hours) / 8760 + rng.normal(0, 1.0)
    season = 0.3 * np.sin(np.arange(hours) / 8760 * 2 * np.pi + rng.uniform(0, 6))
    return Probe(
        drift + season, float(rng.uniform(98.0, 100.0)), float(rng.choice([0.0, 2.0])),
        holes(rng, hours, 0.01, 1),
    )  # fmt: skip


def ordinary_loggers(rng: np.random.Generator, hours: int, count: int, rich: bool) -> Loggers:
    """Sensors that keep their gain; a few gaps, two or three short outages that rows tell of."""
    dead = np.zeros(hours, dtype=bool)
    for _ in range(int(rng.integers(1, 5))):
        at = int(rng.integers(0, hours))
        dead[at : at + int(rng.integers(1, 14))] = True
    breaks = [holes(rng, hours, 0.01, int(rng.integers(0, 3))) for _ in range(count)]
    return Loggers(
        np.ones((hours, count)) * (1 + 0.01 * rng.standard_normal(count)),
        np.stack(breaks, axis=1), dead, True, rng.uniform(0.04, 0.15, count), rich,
    )  # fmt: skip


def weather_rows(weather: Climate, probe: Probe, rng: np.random.Generator) -> WeatherColumns:
    """The weather as the site's station recorded it, holes left out."""
    air = weather.air_c + rng.normal(0, 0.2, weather.air_c.size)
    reading = 100 * weather.activity + probe.offset_pct + rng.normal(0, 0.8, air.size)
    if probe.sticks_h:
        keeps = np.exp(-1 / probe.sticks_h)
        stuck = np.clip(reading - 96, 0, None)
        for hour in range(1, reading.size):
            stuck[hour] = max(stuck[hour], keeps * stuck[hour - 1])
        reading = reading + np.where(stuck > 0, np.clip(stuck - (reading - 96), 0, 3), 0)
    kept = ~probe.holes
    hours = weather.utc_h[kept]
    return WeatherColumns(
        start_us=hours * HOUR_US,
        duration_us=np.full(hours.size, HOUR_US, dtype=np.int64),
        rh_pct=np.round(np.clip(reading, 0, probe.top_pct), 1)[kept],
        air_c=np.round(air, 1)[kept],
        rain_mm=weather.rain_mm[kept],
        wind_m_s=np.round(weather.wind_m_s, 1)[kept],
        wind_from_deg=np.round(weather.wind_from_deg)[kept],
    )


def _states(film: Floats, arcing: Floats, dead: Bools) -> npt.NDArray[np.int8]:
    codes = {state: STATES.index(state) for state in STATES}
    chosen = np.where(film > WET_MA / np.sqrt(2), codes[State.WET], codes[State.DRY])
    chosen = np.where(arcing > 0, codes[State.ARCING_SPARSE], chosen)
    chosen = np.where(arcing > DENSE, codes[State.ARCING_DENSE], chosen)
    return np.asarray(np.where(dead, codes[State.DE_ENERGISED], chosen), dtype=np.int8)


def current_rows(
    weather: Climate, true: Truth, loggers: Loggers, at: int, rng: np.random.Generator
) -> IntervalColumns:
    """The rows of insulator number `at`."""
    hours, alive = true.film_ma.shape[0], (~loggers.dead).astype(float)
    supply = 1 + 0.012 * rng.standard_normal(hours)
    gain = loggers.gain[:, at] * alive * supply
    film, arcing = true.film_ma[:, at], true.arcing[:, at] * alive * loggers.arcs
    noise = loggers.noise_ma * np.abs(rng.standard_normal(hours))
    dry = loggers.dry_ma[at]
    whole = np.hypot(np.hypot(film, dry) * gain, noise)
    tilted = gain * (film + 0.02 * dry) + loggers.noise_ma * 0.5 * rng.standard_normal(hours)
    peak = np.sqrt(2) * whole * (1.1 + 1.5 * np.sqrt(arcing)) * (1 + 0.1 * rng.random(hours))
    over = peak > FULL_SCALE_MA
    kept = ~loggers.holes[:, at]
    said_dead = loggers.dead & loggers.dead_said
    volts = 12_700_000.0 * alive * supply
    return IntervalColumns(
        start_us=(weather.utc_h * HOUR_US)[kept],
        duration_us=np.full(int(kept.sum()), HOUR_US, dtype=np.int64),
        rms_na=np.round(whole * 1e6)[kept],
        peak_ua=np.round(np.minimum(peak, FULL_SCALE_MA) * 1e3)[kept],
        in_phase_na=np.round(tilted * 1e6)[kept] if loggers.rich else None,
        voltage_mv=np.round(volts)[kept] if loggers.rich else None,
        halfcycles=np.full(int(kept.sum()), HALFCYCLES_H, dtype=np.int64),
        arcing_halfcycles=as_counts(arcing, HALFCYCLES_H, rng)[kept],
        state=_states(film * gain, arcing, said_dead)[kept] if loggers.rich else None,
        doubted=over[kept] if over.any() else None,
    )
