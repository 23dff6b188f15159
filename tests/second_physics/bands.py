"""Dry bands drawn for half-cycles, from a style, and burnt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.families.labelled import Bools, Floats
from tests.second_physics.column import Bands, balance_power, burnt
from tests.second_physics.stage import Arcs, Stage
from tests.second_physics.supply import STEPS, Supply

Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Style:
    """Ranges from which a recording draws its arcs (one draw, then a spread between half-cycles).

    exponent: 0 Mayr, 1 Cassie. drop: burning voltage at the crest current / crest voltage.
    strength: breakdown / crest voltage. jitter: of the strength. weakened: part of the strength
    missing after an extinction. seed: conductance of the spark / film's. blown: share of
    half-cycles in which the column is drawn out for a while. polar: strength of negative over
    positive half-cycles.
    """

    exponent: Range = (0.0, 0.6)
    drop: Range = (0.03, 0.12)
    strength: Range = (0.45, 0.85)
    jitter: float = 0.06
    tau_s: Range = (4e-5, 3e-4)
    lag_s: Range = (0.0, 2e-4)
    weakened: Range = (0.1, 0.5)
    recovery_s: Range = (5e-4, 4e-3)
    seed: Range = (0.3, 1.0)
    leak: Range = (1e-5, 3e-3)
    bands: int = 1
    glow: bool = False
    blown: float = 0.0
    polar: Range = (0.92, 1.09)


def correlated(rng: np.random.Generator, count: int, memory: float) -> Floats:
    """Numbers of mean 0 and deviation 1 whose neighbours resemble one another."""
    fresh = rng.normal(size=count) * np.sqrt(1 - memory**2)
    out = np.empty(count)
    last = float(rng.normal())
    for place, new in enumerate(fresh.tolist()):
        last = memory * last + new
        out[place] = last
    return out


def drawn(
    stage: Stage, supply: Supply, lanes: npt.NDArray[np.int64], film_us: Floats, style: Style
) -> Bands:
    """The bands of some lanes; film_us: conductance of the film in series, by lane."""
    rng, number, count = stage.rng, style.bands, len(lanes)
    shape = (number, count)
    crests = np.maximum(supply.crests_kv[lanes], 1e-6)

    def around(bounds: Range, spread: float) -> Floats:
        middle = stage.uniform(*bounds)
        own = middle * np.exp(spread * rng.normal(size=shape))
        return np.asarray(np.clip(own, bounds[0], bounds[1]))

    exponent = np.full(shape, stage.uniform(*style.exponent))
    drop = around(style.drop, 0.15)
    share = rng.dirichlet(np.full(number, 6.0))[:, None] if number > 1 else np.ones((1, 1))
    current = crests * film_us * (1 - drop.mean(0))
    power = balance_power(drop * share * crests, current, exponent)
    memory = correlated(rng, count, 0.7) * style.jitter
    polar = np.where(supply.lanes.signs[lanes] < 0, stage.uniform(*style.polar), 1.0)
    strength = stage.uniform(*style.strength) * np.exp(memory) * polar * crests
    leak = np.exp(np.log(stage.spread(*style.leak)) + 0.3 * rng.normal(size=shape))
    blown = rng.random(count) < style.blown
    start = rng.uniform(0.4, 0.6, count) * STEPS
    return Bands(
        strength * share * np.exp(0.04 * rng.normal(size=shape)),
        rng.uniform(0.0, 0.15, shape),
        around(style.weakened, 0.2),
        around(style.recovery_s, 0.3) if style.recovery_s[0] > 0 else np.full(shape, 1e-6),
        around(style.lag_s, 0.4),
        around(style.seed, 0.2),
        power,
        exponent,
        np.exp(np.log(stage.spread(*style.tau_s)) + 0.2 * rng.normal(size=shape)).clip(2e-5, 1e-3),
        leak / share,
        np.full(shape, style.glow),
        start,
        np.where(blown, start + rng.uniform(0.05, 0.12, count) * STEPS, start),
        rng.uniform(6.0, 12.0, count),
        rng.uniform(0.0, 0.15, count) * (not style.glow),
        rng.uniform(400.0, 2500.0, count),
    )


def film_for(supply: Supply, lanes: npt.NDArray[np.int64], crest_ma: Floats, drop: float) -> Floats:
    """Conductance of the film in series for arcs of about these crests [uS]."""
    film: Floats = crest_ma / np.maximum(supply.crests_kv[lanes], 1e-6) / (1 - drop)
    return film


def arcs_of(
    stage: Stage,
    supply: Supply,
    present: Bools,
    crest_ma: Floats,
    style: Style,
    strength: Floats | None = None,
) -> Arcs:
    """Burns the bands of all lanes in `present`.

    crest_ma, strength (breakdown / crest voltage, in place of the style's): by lane, all lanes.
    """
    lanes = np.flatnonzero(present)
    film_us = film_for(supply, lanes, crest_ma[lanes], sum(style.drop) / 2)
    bands = drawn(stage, supply, lanes, film_us, style)
    if strength is not None:
        kv = strength[lanes] * np.maximum(supply.crests_kv[lanes], 1e-6)
        bands.strength_kv[:] = kv * bands.strength_kv / bands.strength_kv.sum(0)
        bands.deficit[:] = 0.0
    signs = supply.lanes.signs[lanes]
    voltage = np.maximum(supply.voltage[lanes] * signs[:, None], 0.0)
    step_s = supply.lanes.spans_s[lanes] / STEPS
    path, column = burnt(np.ascontiguousarray(voltage.T), step_s, film_us, bands)
    return Arcs(lanes, path.T * signs[:, None], column.T * signs[:, None])


def visits(stage: Stage, count: int, share: float, memory: float = 0.0) -> Bools:
    """Half-cycles by chance, in runs where there is memory (0: none, towards 1: long runs)."""
    stay = share + (1 - share) * memory
    come = share * (1 - memory)
    chance = stage.rng.random(count)
    out = np.zeros(count, dtype=bool)
    burning = bool(chance[0] < share)
    for lane, drawn_share in enumerate(chance.tolist()):
        burning = drawn_share < (stay if burning else come)
        out[lane] = burning
    return out


def crests(stage: Stage, count: int, middle_ma: float, spread: float = 0.15) -> Floats:
    """Arc crests by lane about a middle, with memory [mA]."""
    return np.asarray(middle_ma * np.exp(spread * correlated(stage.rng, count, 0.8)))
