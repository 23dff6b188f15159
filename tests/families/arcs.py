"""Dry-band arcs by a conductance law, solved for every sample of an arcing half-cycle.

A stream of wet film in series with a dry band carries nothing until the band breaks down. Then the
arc's burning voltage A x I^-n (form: facts 10, published line-monitoring text; A of 63 to 140 and n
of 0.5 to 0.76 in volt, centimetre and ampere, as recalled) stands in series with the resistance of
the stream:

    u = A x i^-n + R i

The stable current is the larger root. It vanishes where u falls below the law's minimum
u_min = R i* (1 + 1/n), i* = (n A x / R)^(1/(n+1)), before the voltage zero; so the arc must strike
anew in every half-cycle, and a band that breaks down below u_min lights no arc that lasts. With
n = 0 the law is a glow: a constant burning voltage, i = (u - U) / R, which starts without a step.
Here u is in units of the crest, i in units of the current that the arc would carry at the crest,
b is the burning voltage's share there: A x = b, R = 1 - b.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from tests.families.labelled import Floats
from tests.families.mains import Mains

NEWTON_STEPS = 4
"""From the right of the larger root of a convex function: falls onto it without overshoot."""

RECALLED_N = (0.5, 0.76)
RECALLED_A = (63.0, 140.0)

LEAST_CURRENT = 0.02
"""An arc that carries less of its crest current than this goes out."""


@dataclass(frozen=True, slots=True, eq=False)
class ArcPlan:
    """Arcs to burn, one entry each, in any order; several may share a half-cycle.

    half: index of the half-cycle. peak_ma: current at full crest voltage [mA].
    burning: b above. exponent: n above. strike: voltage at which the band breaks down, to the
    crest. start_rad, stop_rad: earliest ignition and forced end, from the voltage zero (0 to pi).
    rise_s: time constant with which the channel's conductance grows after ignition.
    """

    half: npt.NDArray[np.int64]
    peak_ma: Floats
    burning: Floats
    exponent: Floats
    strike: Floats
    start_rad: Floats
    stop_rad: Floats
    rise_s: Floats

    def __len__(self) -> int:
        return len(self.half)


def joined(*plans: ArcPlan) -> ArcPlan:
    """All arcs of several plans."""
    return ArcPlan(
        *(
            np.concatenate([getattr(plan, field.name) for plan in plans])
            for field in fields(ArcPlan)
        )
    )


def least_voltage(burning: Floats, exponent: Floats) -> Floats:
    """u_min of the law, to the crest; for a glow the burning voltage itself."""
    n = np.maximum(exponent, 1e-9)
    resistance = 1 - burning
    turning = (n * burning / resistance) ** (1 / (n + 1))
    return np.where(exponent > 0, resistance * turning * (1 + 1 / n), burning)


def law_current(voltage: Floats, burning: Floats, exponent: Floats) -> Floats:
    """Larger root i of voltage = b i^-n + (1 - b) i; 0 where there is none."""
    resistance = 1 - burning
    possible = voltage >= least_voltage(burning, exponent)
    turning = (exponent * burning / resistance) ** (1 / (exponent + 1))
    current = np.maximum(voltage / resistance, 1e-6)
    for _ in range(NEWTON_STEPS):
        drop = burning * np.exp(-exponent * np.log(current))
        slope = resistance - exponent * drop / current
        miss = resistance * current + drop - voltage
        current = np.maximum(current - miss / np.where(slope > 1e-3, slope, 1e-3), turning)
        current = np.maximum(current, 1e-9)
    return np.where(possible, current, 0.0)


def band_cm(plan: ArcPlan, crest_v: float, a: float) -> Floats:
    """Length of dry band [cm] that the burning voltage stands for; shows the plan is physical."""
    return plan.burning * crest_v * (plan.peak_ma / 1000) ** plan.exponent / a


def arc_current(rng: np.random.Generator, mains: Mains, plan: ArcPlan, wobble: float) -> Floats:
    """Signed current of all arcs [mA] on the inner grid.

    wobble: relative standard deviation of the channel's own unrest within a half-cycle.
    """
    total = np.zeros(len(mains.voltage))
    if len(plan) == 0:
        return total
    position, arc = _arc_samples(mains, plan)
    sign = mains.signs[plan.half][arc].astype(float)
    voltage = mains.voltage[position] * sign
    burning, exponent = plan.burning[arc], plan.exponent[arc]
    relative = law_current(voltage, burning, exponent)
    strike = np.maximum(plan.strike, least_voltage(plan.burning, plan.exponent))
    struck = _struck(voltage, strike[arc], arc, len(plan))
    since = np.where(struck[arc] >= 0, np.arange(len(arc)) - struck[arc], -1)
    burns = (since >= 0) & (relative > LEAST_CURRENT)
    burns &= ~_ended(burns, since, arc, len(plan))
    grown = 1 - np.exp(-(since + 0.5) / (plan.rise_s[arc] * mains.inner_hz))
    unrest = 1 + wobble * _smooth_noise(rng, len(arc))
    current = np.where(burns, relative * grown * plan.peak_ma[arc] * sign * unrest, 0.0)
    np.add.at(total, position, current)
    return total


def _arc_samples(
    mains: Mains, plan: ArcPlan
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """Inner samples between earliest ignition and forced end of each arc, and whose they are."""
    begin = mains.boundaries[plan.half]
    length = mains.boundaries[plan.half + 1] - begin
    first = np.ceil((begin + plan.start_rad / np.pi * length) * mains.step + mains.lead)
    end = np.floor((begin + plan.stop_rad / np.pi * length) * mains.step + mains.lead)
    limit = len(mains.voltage)
    low = np.clip(first, 0, limit).astype(np.int64)
    many = np.maximum(np.clip(end, 0, limit).astype(np.int64) - low, 0)
    arc = np.repeat(np.arange(len(plan)), many)
    before = np.cumsum(many) - many
    return np.arange(int(many.sum())) - before[arc] + low[arc], arc


def _struck(
    voltage: Floats, strike: Floats, arc: npt.NDArray[np.int64], count: int
) -> npt.NDArray[np.int64]:
    """For each arc the first place in the flat list at which the band breaks down, or -1."""
    found = np.full(count, -1, dtype=np.int64)
    places = np.flatnonzero(voltage >= strike)[::-1]
    found[arc[places]] = places
    return found


def _ended(
    burns: npt.NDArray[np.bool_],
    since: npt.NDArray[np.int64],
    arc: npt.NDArray[np.int64],
    count: int,
) -> npt.NDArray[np.bool_]:
    """Where an arc has gone out before: a distorted voltage does not light it again."""
    out = np.full(count, np.iinfo(np.int64).max)
    places = np.flatnonzero(~burns & (since >= 0))[::-1]
    out[arc[places]] = since[places]
    return since >= out[arc]


def _smooth_noise(rng: np.random.Generator, count: int) -> Floats:
    """Noise of unit deviation, correlated over some 0.3 ms."""
    raw = rng.standard_normal(count + 7, dtype=np.float32)
    return np.convolve(raw, np.full(8, 8**-0.5, dtype=np.float32), "valid").astype(float)
