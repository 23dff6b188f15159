"""Years of minute rows of healthy and faulty sensors: weather, neighbours and drifts, seeded.

A dry current made of an own part and two neighbours' parts whose voltages wander, a film that
conducts with humidity, the insulator's and the sensor's temperature, a slow walk of the gain, noise
of a minute's mean, and a calibration taken from the first dry hour. Sizes are design choices, wider
than the sensors that they stand for.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from edge.measure import self_test
from edge.measure.plan import Calibration
from edge.measure.self_test import Air, SelfTest
from edge.quantities import State
from edge.records import IntervalRow
from tests.edge.decide.builders import interval

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

YEAR_MINUTES = 365 * 1440
NOMINAL_KV = 19.05
WET_PEAK_MA = 0.3
DRY_RH_PCT, DRY_MINUTES = 60.0, 120


def wandering(rng: np.random.Generator, count: int, spread: float, minutes: float) -> Floats:
    """A wander with this spread that forgets itself over so many minutes; held for ten."""
    steps = count // 10 + 2
    stay = np.exp(-10.0 / minutes)
    pushes = rng.normal(0.0, spread * np.sqrt(1.0 - stay * stay), steps)
    found = np.empty(steps)
    level = rng.normal(0.0, spread)
    for index, push in enumerate(pushes.tolist()):
        level = stay * level + push
        found[index] = level
    return np.repeat(found, 10)[:count]


@dataclass(frozen=True, slots=True, eq=False)
class World:
    """Minutes of one sensor. current: against its own voltage at nominal [mA], arrays of one size.

    volts: share of nominal. film_ma: of it, in phase. air_dry: known dry air by the two-hour rule.
    """

    current: Complexes
    volts: Floats
    film_ma: Floats
    air_dry: npt.NDArray[np.bool_]
    calibration: Calibration


def world(seed: int, minutes: int = YEAR_MINUTES) -> World:
    """A healthy sensor from midwinter on."""
    rng = np.random.default_rng([11, seed])
    t = np.arange(minutes, dtype=np.float64)
    day = np.cos(2 * np.pi * (t / 1440.0 - 0.62))
    season = -np.cos(2 * np.pi * t / YEAR_MINUTES)
    warm_k = 8.0 * season + 5.0 * day + wandering(rng, minutes, 3.0, 3_000.0)
    rh = 78.0 - 11.0 * day - 6.0 * season + wandering(rng, minutes, 9.0, 2_000.0)
    rh = np.clip(rh, 20.0, 100.0)
    own_ma = float(10 ** rng.uniform(np.log10(0.04), np.log10(0.6)))
    own = 1j * own_ma * (1 + rng.uniform(-0.002, 0.002) * warm_k)
    shares = rng.uniform(0.0, 0.25, 2)
    for share, sign in zip(shares, (1, -1), strict=True):
        size = 1 + wandering(rng, minutes, 0.015, 4_000.0)
        turn = np.radians(wandering(rng, minutes, 0.5, 4_000.0))
        own = own + 1j * own_ma * share * size * np.exp(1j * (sign * 2 * np.pi / 3 + turn))
    film = own_ma * rng.uniform(0.01, 0.2) * np.exp((rh - 75.0) / rng.uniform(4.0, 7.0))
    gain = 1 + rng.uniform(-5e-4, 5e-4) * warm_k + 0.007 * _walk(rng, minutes)
    phase = np.radians(rng.uniform(-0.05, 0.05) * warm_k)
    noise = rng.normal(0.0, 0.004 * own_ma, (2, minutes))
    current = (own + film) * gain * np.exp(1j * phase) + noise[0] + 1j * noise[1]
    volts = 1 + wandering(rng, minutes, 0.02, 300.0)
    dry = film * np.sqrt(2.0) < 0.05 * own_ma
    first = complex(current[np.flatnonzero(dry)[:60]].mean())
    calibration = Calibration(
        id="first", dry_ma=abs(first), dry_deg=float(np.degrees(np.angle(first)))
    )
    return World(current, volts, film, _long_dry(rh), calibration)


def _walk(rng: np.random.Generator, minutes: int) -> Floats:
    """A walk that spreads by 1 in a year."""
    days = minutes // 1440 + 1
    return np.repeat(np.cumsum(rng.normal(0.0, 365**-0.5, days)), 1440)[:minutes]


def _long_dry(rh: Floats) -> npt.NDArray[np.bool_]:
    """Under the limit for two hours on end."""
    under = np.convolve(rh < DRY_RH_PCT, np.ones(DRY_MINUTES), "full")[: len(rh)]
    return np.asarray(under >= DRY_MINUTES - 0.5, np.bool_)


def part(found: World, begin: int, end: int) -> World:
    """Its minutes from `begin` up to but without `end`."""
    cut = slice(begin, end)
    return World(
        found.current[cut],
        found.volts[cut],
        found.film_ma[cut],
        found.air_dry[cut],
        found.calibration,
    )


def faulty(healthy: World, factor: complex, picked_up: complex = 0.0) -> World:
    """The sensor shows so many times the current, and besides a share of the dry one."""
    dry_ma = healthy.calibration.dry_ma or 0.0
    return replace(healthy, current=healthy.current * factor + picked_up * dry_ma)


def _minute(state: State) -> dict[str, Any]:
    """What is alike in all minutes of a state."""
    row = interval(0, state, insulator="I1", calibration="first")
    told = ("in_phase_na", "quadrature_na", "voltage_mv")
    return {one.name: getattr(row, one.name) for one in fields(row) if one.name not in told}


def rows(found: World, weather: bool) -> Iterator[tuple[IntervalRow, Air]]:
    """Minutes that the measure would not call arcing, with what is known of the air."""
    measured = found.current * found.volts
    dry_in_phase = found.calibration.dry_ma * np.cos(np.radians(found.calibration.dry_deg))
    wet = (measured.real - dry_in_phase) * np.sqrt(2.0) > WET_PEAK_MA
    columns = zip(
        np.rint(measured.real * 1e6).astype(np.int64).tolist(),
        np.rint(measured.imag * 1e6).astype(np.int64).tolist(),
        np.rint(found.volts * NOMINAL_KV * 1e6).astype(np.int64).tolist(),
        wet.tolist(),
        found.air_dry.tolist(),
        strict=True,
    )
    states = {False: _minute(State.DRY), True: _minute(State.WET)}
    for in_phase_na, quadrature_na, voltage_mv, is_wet, air_dry in columns:
        air = Air.UNKNOWN if not weather else Air.DRY if air_dry else Air.DAMP
        if is_wet and air is not Air.DRY:
            continue  # no evidence: passed over to save time
        row = IntervalRow(
            **states[is_wet],
            in_phase_na=in_phase_na,
            quadrature_na=quadrature_na,
            voltage_mv=voltage_mv,
        )
        yield row, air


@dataclass(frozen=True, slots=True)
class Watched:
    """What the self-test made of minutes. dry_hours, air_hours: of evidence, of it in dry air, up
    to the first finding or to the end. findings: times that it was found off."""

    known: SelfTest
    dry_hours: float
    air_hours: float
    findings: int


def watched(
    found: World, *, weather: bool = True, known: SelfTest = self_test.FRESH, stop: bool = False
) -> Watched:
    """The minutes through the step, after `known`; stop: at the first finding."""
    minutes = air_minutes = findings = 0
    for row, air in rows(found, weather):
        before = known.is_off
        known, _ = self_test.step(known, row, found.calibration, NOMINAL_KV, air)
        minutes += row.state is State.DRY
        air_minutes += air is Air.DRY
        if known.is_off and not before:
            findings += 1
            if stop:
                break
    return Watched(known, minutes / 60, air_minutes / 60, findings)
