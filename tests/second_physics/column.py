"""Dry bands and the arc columns across them, integrated in time, all half-cycles side by side.

Circuit of one lane: voltage - film (conductance `film_us`) - up to three bands in series. A band is
a leak beside a column. A column's conductance g follows the thermal balance

    dg/dt = g / tau * (v**2 * g / (p * g**b) - 1)

(Schwarz's form as recalled; b = 0 is Mayr's equation, b = 1 Cassie's). A band breaks down when its
voltage has stood above its strength for a lag; the strength is low after an extinction and comes
back. A glow needs no breakdown: a faint conductance is always there and grows once the drop is
exceeded. Units: kV, mA, uS (mA/kV), s.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.families.labelled import Bools, Floats

QUENCHED = 0.01
"""A column with less than this part of the film's conductance is out."""

GLOW_FLOOR = 2e-3
"""Conductance of an unlit glow, as part of the film's."""

OUT = -60.0
"""Logarithm of the conductance of a column that is out."""


@dataclass(frozen=True, slots=True, eq=False)
class Bands:
    """Bands of lanes; shape (bands, lanes) each, the last four (lanes,).

    strength_kv: breakdown when recovered. deficit: part of it missing at the lane's start.
    weakened: part of it missing at an extinction; recovery_s: time constant of its return.
    lag_s: time above strength before breakdown. seed: conductance of a fresh spark / film's.
    power: p above [kV**(1+b) mA**(1-b)]; exponent: b. tau_s. leak: of the band / film's.
    glow: no breakdown needed. blow_from, blow_to: steps between which p is `blow` times as large
    (steam, wind, a column drawn out). flutter: relative swing of p at flutter_hz.
    """

    strength_kv: Floats
    deficit: Floats
    weakened: Floats
    recovery_s: Floats
    lag_s: Floats
    seed: Floats
    power: Floats
    exponent: Floats
    tau_s: Floats
    leak: Floats
    glow: Bools
    blow_from: Floats
    blow_to: Floats
    blow: Floats
    flutter: Floats
    flutter_hz: Floats


@dataclass(slots=True, eq=False)
class _State:
    """What changes along a half-cycle: log of the conductance, lit, missing strength, time over."""

    log_us: Floats
    lit: Bools
    deficit: Floats
    over_s: Floats


def burnt(
    voltage_kv: Floats, step_s: Floats, film_us: Floats, bands: Bands
) -> tuple[Floats, Floats]:
    """Current of the path, and of its columns, [mA], shape (steps, lanes).

    voltage_kv: shape (steps, lanes), not negative. The columns carry the current of the path less
    what leaks past the band that leaks most.
    """
    steps = len(voltage_kv)
    path, column = np.empty_like(voltage_kv), np.empty_like(voltage_kv)
    leak_us = bands.leak * film_us
    floor = np.where(bands.glow, np.log(GLOW_FLOOR * film_us), OUT)
    state = _State(
        floor.copy(), bands.glow.copy(), bands.deficit.copy(), np.zeros_like(bands.deficit)
    )
    back = np.exp(-step_s / bands.recovery_s)
    rate = step_s / bands.tau_s
    swing = 2 * np.pi * bands.flutter_hz * step_s
    start = 7.0 * bands.flutter_hz  # a phase that differs from lane to lane
    for step in range(steps):
        own = np.exp(state.log_us)
        band_us = own + leak_us
        current = voltage_kv[step] / (1.0 / film_us + (1.0 / band_us).sum(0))
        across = current / band_us
        path[step] = current
        column[step] = current * (own / band_us).min(0) * state.lit.all(0)
        harder = np.where((step >= bands.blow_from) & (step < bands.blow_to), bands.blow, 1.0)
        harder = harder * (1.0 + bands.flutter * np.sin(swing * step + start))
        _advance(state, across, rate, harder, bands, floor)
        _strike(state, across, step_s, back, bands, film_us)
    return path, column


def _advance(
    state: _State, across: Floats, rate: Floats, harder: Floats, bands: Bands, floor: Floats
) -> None:
    """One step of the thermal balance, exponential in the conductance."""
    heat = across**2 * np.exp((1.0 - bands.exponent) * state.log_us) / (bands.power * harder)
    state.log_us += np.where(state.lit, np.clip(rate * (heat - 1.0), -3.0, 1.0), 0.0)
    np.maximum(state.log_us, floor, out=state.log_us)


def _strike(
    state: _State, across: Floats, step_s: Floats, back: Floats, bands: Bands, film_us: Floats
) -> None:
    """Extinctions, recovery of the strength, breakdowns."""
    state.deficit *= back
    out = state.lit & ~bands.glow & (state.log_us < np.log(QUENCHED * film_us))
    if out.any():
        state.lit[out], state.log_us[out] = False, OUT
        state.deficit[out], state.over_s[out] = bands.weakened[out], 0.0
    above = across > bands.strength_kv * (1.0 - state.deficit)
    state.over_s = np.where(above, state.over_s + step_s, 0.0)
    struck = ~state.lit & above & (state.over_s > bands.lag_s)
    if struck.any():
        fresh = np.log(bands.seed * film_us)
        state.lit[struck], state.log_us[struck] = True, fresh[struck]


def balance_power(
    drop_kv: npt.ArrayLike, current_ma: npt.ArrayLike, exponent: npt.ArrayLike
) -> Floats:
    """p of a column that burns steadily with a drop at a current."""
    b = np.asarray(exponent, dtype=np.float64)
    drop, current = np.asarray(drop_kv, np.float64), np.asarray(current_ma, np.float64)
    power: Floats = drop ** (1.0 + b) * current ** (1.0 - b)
    return power
