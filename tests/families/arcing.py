"""Families with dry-band arcs: which half-cycles burn, how strongly, with what scatter.

Ignition at the band's breakdown voltage with scatter from half-cycle to half-cycle; amplitude with
a memory; the law of `arcs`. Every number here is a design choice within the range that the
requirement names; no measured distribution of field arcs was available.
"""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import numpy.typing as npt

from tests.families.arcs import RECALLED_N, ArcPlan, arc_current, joined, least_voltage
from tests.families.harmless import dry_current, film, sensor_for
from tests.families.labelled import Bools, Floats
from tests.families.mains import Mains
from tests.families.scene import Stage, Take
from tests.families.surface import capacitive, chosen, uniform

STRIKE_SCATTER = 0.05
"""Deviation of the breakdown voltage from half-cycle to half-cycle, to the crest."""

STRIKE_HIGHEST = 0.97
"""A band that strikes later than this on the rise would miss many half-cycles; still an arc."""

Halves = npt.NDArray[np.int64]


def remembered(rng: np.random.Generator, count: int, deviation: float, memory: float) -> Floats:
    """Log-normal factors about 1; each keeps `memory` of the one before."""
    kicks = rng.standard_normal(count) * deviation * np.sqrt(1 - memory * memory)
    weight = memory ** np.arange(max(min(count, 60), 1))
    return np.exp(np.convolve(kicks, weight)[:count]) if count else np.zeros(0)


def step_arcs(
    rng: np.random.Generator, half: Halves, peak_ma: Floats, rise_s: tuple[float, float]
) -> ArcPlan:
    """Arcs that strike with a step: one burning law and one mean strike for the recording."""
    count = len(half)
    n = float(rng.uniform(*RECALLED_N))
    share = np.clip(rng.uniform(0.08, 0.35) * remembered(rng, count, 0.15, 0.8), 0.02, 0.45)
    exponent = np.full(count, n)
    least = least_voltage(share, exponent) + 0.03
    middle = rng.uniform(0.5, 0.9)
    strike = middle + STRIKE_SCATTER * rng.standard_normal(count)
    return ArcPlan(
        half,
        peak_ma,
        share,
        exponent,
        np.clip(np.maximum(strike, least), 0.2, STRIKE_HIGHEST),
        np.zeros(count),
        np.full(count, pi),
        np.exp(rng.uniform(np.log(rise_s[0]), np.log(rise_s[1]), count)),
    )


def glow_arcs(rng: np.random.Generator, half: Halves, peak_ma: Floats) -> ArcPlan:
    """Glow: a constant burning voltage, a slow rise over 0.4 to 1 ms, no step anywhere."""
    count = len(half)
    share = np.clip(rng.uniform(0.35, 0.7) + 0.04 * rng.standard_normal(count), 0.25, 0.8)
    return ArcPlan(
        half,
        peak_ma,
        share,
        np.zeros(count),
        np.minimum(share + np.abs(0.03 * rng.standard_normal(count)), 0.9),
        np.zeros(count),
        np.full(count, pi),
        rng.uniform(0.4e-3, 1.0e-3, count),
    )


def peaks(rng: np.random.Generator, count: int, low_ma: float, high_ma: float) -> Floats:
    """Crest currents within limits, about a level of the recording, with a memory."""
    level = uniform(rng, low_ma, high_ma)
    return np.clip(level * remembered(rng, count, 0.2, 0.7), low_ma, high_ma)


def burning(
    stage: Stage,
    mains: Mains,
    plan: ArcPlan,
    film_ma: tuple[float, float] = (0.5, 5.0),
    wobble: float = 0.04,
) -> Take:
    """A take of these arcs over a film, the sensor fitting both."""
    dry = dry_current(stage, 0.05, 0.3)
    base, crest = film(stage, mains, *film_ma)
    quiet = base + capacitive(mains, dry)
    arcs = arc_current(stage.rng, mains, plan, wobble)
    highest = float(np.max(np.abs(quiet + arcs)))
    sensor = sensor_for(stage.rng, highest / 1.4)
    known = bool(stage.rng.random() < 0.5)
    return Take(mains, quiet, crest, dry, (sensor,), arcs_ma=arcs, calibrated=known)


def drawn(mains: Mains, half: Bools) -> Halves:
    """Indices of the half-cycles drawn."""
    return np.flatnonzero(half).astype(np.int64)


def usual(
    stage: Stage,
    mains: Mains,
    peak_ma: tuple[float, float] = (5.0, 60.0),
    share: tuple[float, float] = (0.05, 0.95),
) -> ArcPlan:
    """Arcs of the usual kind in a random share of the half-cycles."""
    half = drawn(mains, chosen(stage.rng, mains, uniform(stage.rng, *share)))
    return step_arcs(stage.rng, half, peaks(stage.rng, len(half), *peak_ma), (20e-6, 200e-6))


def dry_band(stage: Stage) -> Take:
    """Arcs of 5 to 60 mA in 5 to 95 % of the half-cycles."""
    mains = stage.supply()
    return burning(stage, mains, usual(stage, mains))


def far_apart(stage: Stage) -> Take:
    """One arcing half-cycle now and then: 0.4 to 4 s apart."""
    mains = stage.supply()
    gap_s = stage.rng.uniform(0.4, 4.0, int(stage.seconds) * 3 + 2)
    at = np.cumsum(gap_s)
    half = np.searchsorted(mains.boundaries, at[at < stage.seconds - 0.05] * mains.rate_hz) - 1
    plan = step_arcs(
        stage.rng, half.astype(np.int64), peaks(stage.rng, len(half), 3.0, 30.0), (20e-6, 200e-6)
    )
    return burning(stage, mains, plan)


def faint(stage: Stage) -> Take:
    """Arcs of 3 to 6 mA over 1 mA of film."""
    mains = stage.supply()
    plan = usual(stage, mains, (3.0, 6.0), (0.02, 0.9))
    return burning(stage, mains, plan, (0.7, 1.3))


def small_on_large(stage: Stage) -> Take:
    """Arcs of 3 to 8 mA beside a film of 10 to 30 mA in another path."""
    mains = stage.supply()
    plan = usual(stage, mains, (3.0, 8.0), (0.03, 0.8))
    return burning(stage, mains, plan, (10.0, 30.0))


def glow(stage: Stage) -> Take:
    """Glow of 3 to 20 mA: no step."""
    mains = stage.supply()
    half = drawn(mains, chosen(stage.rng, mains, uniform(stage.rng, 0.05, 0.9)))
    plan = glow_arcs(stage.rng, half, peaks(stage.rng, len(half), 3.0, 20.0))
    return burning(stage, mains, plan, (0.5, 3.0))


def several_bands(stage: Stage) -> Take:
    """Two or three bands in parallel streams, each striking at a voltage of its own."""
    rng, mains = stage.rng, stage.supply()
    first = usual(stage, mains, (4.0, 30.0), (0.1, 0.9))
    plans = [first]
    for _ in range(int(rng.integers(1, 3))):
        some = first.half[rng.random(len(first)) < 0.7]
        plans.append(step_arcs(rng, some, peaks(rng, len(some), 3.0, 30.0), (20e-6, 200e-6)))
    return burning(stage, mains, joined(*plans))


def reignition(stage: Stage) -> Take:
    """The arc is quenched about the crest and strikes again 0.3 to 1.5 ms later."""
    rng, mains = stage.rng, stage.supply()
    plan = usual(stage, mains, (5.0, 40.0), (0.05, 0.9))
    quench = rng.uniform(70, 95, len(plan)) / 180 * pi
    pause = rng.uniform(0.3e-3, 1.5e-3, len(plan)) * mains.nominal_hz * 2 * pi
    before = replace(plan, stop_rad=quench, strike=np.minimum(plan.strike, 0.75))
    after = replace(before, start_rad=quench + pause, stop_rad=np.full(len(plan), pi))
    return burning(stage, mains, joined(before, after))


def late_ignition(stage: Stage) -> Take:
    """The band breaks down at or after the crest, 80 to 125 degrees: a statistical lag."""
    mains = stage.supply()
    plan = usual(stage, mains, (6.0, 40.0), (0.05, 0.9))
    start = stage.rng.uniform(80, 125, len(plan)) / 180 * pi
    low = np.minimum(plan.strike, least_voltage(plan.burning, plan.exponent) + 0.03)
    return burning(stage, mains, replace(plan, start_rad=start, strike=low))


def early_extinction(stage: Stage) -> Take:
    """The arc goes out 65 to 110 degrees after the voltage zero."""
    mains = stage.supply()
    plan = usual(stage, mains, (5.0, 40.0), (0.05, 0.9))
    stop = stage.rng.uniform(65, 110, len(plan)) / 180 * pi
    return burning(stage, mains, replace(plan, stop_rad=stop, strike=plan.strike * 0.65))


def one_polarity(stage: Stage) -> Take:
    """Arcs in half-cycles of one polarity only: a mean and a second harmonic."""
    rng, mains = stage.rng, stage.supply()
    wanted = chosen(rng, mains, uniform(rng, 0.1, 1.0)) & (mains.signs == rng.choice([-1, 1]))
    half = drawn(mains, wanted)
    plan = step_arcs(rng, half, peaks(rng, len(half), 4.0, 40.0), (20e-6, 200e-6))
    return burning(stage, mains, plan)


def bursts(stage: Stage) -> Take:
    """A chain with memory: bursts of some six half-cycles, pauses of some forty.

    A hot band strikes easily again (common practice): within a burst nine of ten half-cycles burn.
    """
    rng, mains = stage.rng, stage.supply()
    count = len(mains.boundaries) - 1
    lengths = np.stack([rng.geometric(1 / 40, count), rng.geometric(1 / 6, count)], axis=1).ravel()
    on = np.repeat(np.arange(len(lengths)) % 2 == 1, lengths)[:count]
    half = drawn(mains, on & (rng.random(count) < 0.9))
    level = peaks(rng, len(half), 3.0, 50.0)
    return burning(stage, mains, step_arcs(rng, half, level, (20e-6, 300e-6)))


def under_distortion(stage: Stage) -> Take:
    """Arcs of 3 to 20 mA while the supply is distorted by 4 to 8 %."""
    mains = stage.supply(0.08)
    return burning(stage, mains, usual(stage, mains, (3.0, 20.0), (0.03, 0.9)))
