"""Arcs drawn in the voltage's phase: when they ignite and die by chance, what flows by a law.

An arc burns in a path of its own, in series with the film of that path. Laws:
constant: the arc takes a fixed voltage B, the film the rest, i = (u - B) / R.
hyperbolic: the arc takes P / i, so R i^2 - u i + P = 0; no solution below u = 2 sqrt(R P).
thermal: the constant law's conductance, followed with a time constant.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import gamma

import numpy as np
from scipy.signal import lfilter

from tests.families.labelled import Bools, Floats
from tests.fourth_physics.stage import Stage


@dataclass(frozen=True, slots=True)
class ArcStyle:
    """How the arcs of one path behave; phases in parts of a half-cycle. All design choices.

    law: as above. crest_ma: median current at the voltage's crest. crest_spread: of its logarithm.
    burn: arc's part of the voltage at the crest. growth: step of burn's random walk a half-cycle.
    level: mean of the weakest band's breakdown voltage to the crest; bands: how many;
    weibull: their shape (0: no scatter at all). lag: further wait after ignition voltage, mean of
    an exponential (with weibull 0: exactly this). rise_s, fall_s: smooth start and end.
    end: phase after which it dies. end_spread: s.d. share: half-cycles that try at all.
    memory: how far a half-cycle's trying follows that of the one before. restrike: chance of a
    pause within the half-cycle. polarity: +1, -1 or 0 for both. tau_s: of the thermal law.
    """

    crest_ma: float
    law: str = "constant"
    crest_spread: float = 0.15
    burn: float = 0.25
    growth: float = 0.0
    level: float = 0.6
    bands: int = 3
    weibull: float = 10.0
    lag: float = 0.0
    rise_s: float = 0.0
    fall_s: float = 0.0
    end: float = 1.0
    end_spread: float = 0.0
    share: float = 1.0
    memory: float = 0.0
    restrike: float = 0.0
    polarity: int = 0
    tau_s: float = 2e-4


@dataclass(frozen=True, slots=True, eq=False)
class Burns:
    """One entry a half-cycle: whether it burns, crest [mA], burn; start, end, pause in phase."""

    on: Bools
    crest_ma: Floats
    burn: Floats
    start_rad: Floats
    end_rad: Floats
    pause_rad: Floats
    pause_end_rad: Floats


def tries(count: int, share: float, memory: float, rng: np.random.Generator) -> Bools:
    """Which half-cycles try: a two-state chain with that share; memory 0 is coin tossing."""
    toss, first = rng.random(count), rng.random() < share
    on = np.empty(count, dtype=bool)
    now = first
    for at in range(count):
        now = toss[at] < share + memory * ((1.0 if now else 0.0) - share)
        on[at] = now
    return on


def weakest(style: ArcStyle, count: int, rng: np.random.Generator) -> Floats:
    """Breakdown voltage of the weakest of the bands, to the crest; its mean is `level`."""
    if style.weibull == 0:
        return np.full(count, style.level)
    scale = style.level * style.bands ** (1 / style.weibull) / gamma(1 + 1 / style.weibull)
    return (scale * rng.weibull(style.weibull, (count, style.bands))).min(axis=1)


def burns(stage: Stage, style: ArcStyle, rng: np.random.Generator) -> Burns:
    """Chance: what each half-cycle's arc in this path does."""
    count = stage.halves
    sign = stage.sign[np.searchsorted(stage.half, np.arange(count))]
    strike = weakest(style, count, rng)
    on = tries(count, style.share, style.memory, rng) & (strike < 1)
    on &= (style.polarity == 0) | (sign == style.polarity)
    still = style.weibull == 0
    wait = np.full(count, style.lag) if still else style.lag * rng.exponential(size=count)
    start = np.arcsin(np.minimum(strike, 1)) + np.pi * wait
    end = np.pi * (style.end + style.end_spread * rng.normal(size=count))
    pause = start + np.maximum(end - start, 0) * rng.uniform(0.3, 0.6, count)
    pausing = rng.random(count) < style.restrike
    length = np.where(pausing, np.pi * rng.uniform(0.06, 0.15, count), 0.0)
    grown = style.burn + np.cumsum(style.growth * rng.normal(size=count))
    bounced = np.abs(np.mod(grown - 0.03, 1.0) - 0.5)
    burn = np.full(count, style.burn) if style.growth == 0 else 0.03 + bounced
    crest = style.crest_ma * np.exp(style.crest_spread * rng.normal(size=count))
    return Burns(on & (end > start), crest, burn, start, end, pause, pause + length)


def _ramp(of: Floats) -> Floats:
    """From 0 to 1 without a kink while `of` goes from 0 to 1."""
    x = np.clip(of, 0, 1)
    return x * x * (3 - 2 * x)


def gate(stage: Stage, style: ArcStyle, of: Burns) -> Floats:
    """1 while it burns, 0 otherwise, with the style's rise and fall."""
    half, phi = stage.half, stage.phi
    rise = max(style.rise_s * stage.omega, 1e-9)
    fall = max(style.fall_s * stage.omega, 1e-9)
    start = _ramp((phi - of.start_rad[half]) / rise)
    end = _ramp((of.end_rad[half] - phi) / fall)
    pause = (phi > of.pause_rad[half]) & (phi < of.pause_end_rad[half])
    return start * end * (of.on[half] & ~pause)


def law_ma(law: str, upright: Floats, crest_kv: float, crest_ma: Floats, burn: Floats) -> Floats:
    """Current of the burning path [mA] at voltages [kV]; crest_ma flows at crest_kv."""
    ohm = crest_kv * (1 - burn) / crest_ma
    if law == "hyperbolic":
        power = burn * crest_kv * crest_ma
        root = upright**2 - 4 * ohm * power
        return np.where(root >= 0, (upright + np.sqrt(np.maximum(root, 0))) / (2 * ohm), 0.0)
    return np.maximum(upright - burn * crest_kv, 0) / ohm


def arc_ma(stage: Stage, style: ArcStyle, of: Burns) -> Floats:
    """The arc current [mA], with the voltage's sign."""
    half, upright, crest_kv = stage.half, stage.upright, stage.setting.crest_kv
    current = law_ma(style.law, upright, crest_kv, of.crest_ma[half], of.burn[half])
    current = current * gate(stage, style, of)
    if style.law == "thermal":
        conductance = current / np.maximum(upright, 0.02 * crest_kv)
        keep = float(np.exp(-1 / (stage.fine_hz * style.tau_s)))
        current = lfilter([1 - keep], [1, -keep], conductance) * upright
    return current * stage.sign


def arcs(stage: Stage, styles: tuple[ArcStyle, ...], rng: np.random.Generator) -> Floats:
    """All paths together [mA]."""
    paths = (arc_ma(stage, style, burns(stage, style, rng)) for style in styles)
    return sum(paths, np.zeros(len(stage.t_s)))
