"""The wet film: elements in series and streams in parallel that heat, dry and are wetted again.

Slow states go from half-cycle to half-cycle; within one the heat comes as the square of the voltage
does. Conductances in uS, normalised so that a film begins with the crest current asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np

from tests.families.labelled import Bools, Floats
from tests.second_physics.supply import STEPS, Supply

WARMTH_PER_K = 0.02
"""Relative rise of a salt solution's conductance per kelvin (as recalled)."""

WARM_K = 20.0
"""Temperature that the starting current would reach; a design choice of the generator."""

SEVERED, JOINED = 0.12, 0.45
"""Water (1: at the start) below which an element is a dry band, and above which it conducts."""


@dataclass(frozen=True, slots=True, eq=False)
class Film:
    """A film over lanes: conductance at the start and the end of each lane [uS], and the part of
    its change that heat brings within the lane."""

    begin_us: Floats
    end_us: Floats
    rise_us: Floats

    def current_ma(self, supply: Supply) -> Floats:
        """Current of the film [mA], shape (lanes, STEPS)."""
        phase: Floats = np.pi * np.arange(STEPS) / STEPS
        heated = (phase - np.sin(2 * phase) / 2) / np.pi - phase / np.pi
        slope = (self.end_us - self.begin_us)[:, None] * (phase / np.pi)
        conductance = self.begin_us[:, None] + slope + self.rise_us[:, None] * heated
        return np.asarray(conductance * supply.voltage)


@dataclass(frozen=True, slots=True)
class Climate:
    """How a film lives. thermal_s: cooling. drying_per_s: water lost at `WARM_K`; wetting_per_s:
    water gained; spread: unevenness of the elements; streams, elements: how many."""

    thermal_s: float
    drying_per_s: float
    wetting_per_s: float
    spread: float
    streams: int
    elements: int


def steady(supply: Supply, crest_ma: float, wander: Floats | float = 1.0) -> Film:
    """A film of given crest at level 1, wandering slowly (relative, at lane edges)."""
    edges = np.full(len(supply.lanes) + 1, crest_ma / supply.crest_kv) * wander
    return Film(edges[:-1], edges[1:], np.zeros(len(supply.lanes)))


def wandering(rng: np.random.Generator, supply: Supply, depth: float) -> Floats:
    """A smooth relative wander at lane edges, over seconds."""
    second = supply.lanes.edges_s
    hertz, phase = rng.uniform(0.03, 0.5, 3), rng.uniform(0.0, 6.28, 3)
    swing = np.sin(2 * np.pi * np.outer(second, hertz) + phase).sum(1) / 3
    return np.asarray(np.exp(depth * swing))


def living(rng: np.random.Generator, supply: Supply, crest_ma: float, climate: Climate) -> Film:
    """A film whose elements heat and dry; a stream with a dry element carries nothing.

    The bands of such a film are too wide to break down: the stream stops without an arc.
    """
    shape = (climate.streams, climate.elements)
    base = np.exp(climate.spread * rng.normal(size=shape))
    base *= crest_ma / supply.crest_kv / np.sum(1.0 / np.sum(1.0 / base, axis=1))
    start = 1.0 / np.sum(1.0 / base, axis=1, keepdims=True)
    water, warm = np.ones(shape), np.zeros(shape)
    dry: Bools = np.zeros(shape, dtype=bool)
    begins: list[float] = []
    ends: list[float] = []
    rises: list[float] = []
    relative = (supply.crests_kv / supply.crest_kv) ** 2
    for span_s, square in zip(supply.lanes.spans_s, relative, strict=True):
        own = base * np.maximum(water, SEVERED / 2) * (1.0 + WARMTH_PER_K * warm)
        before, dry = dry, (dry & (water < JOINED)) | (water < SEVERED)
        carries = ~dry.any(axis=1, keepdims=True)
        stream = carries / np.sum(1.0 / own, axis=1, keepdims=True)
        heat = square * stream**2 / own * climate.elements / start
        warm = warm + (WARM_K * heat - warm) * span_s / climate.thermal_s
        lost = climate.drying_per_s * warm / WARM_K * (~dry)
        water = np.clip(water + (climate.wetting_per_s - lost) * span_s, 0.02, 1.5)
        ends.append(begins[-1] if begins and (before != dry).any() else float(stream.sum()))
        begins.append(float(stream.sum()))
        rise = WARMTH_PER_K * WARM_K * heat * span_s / climate.thermal_s
        rises.append(float(np.sum(stream * rise.mean(axis=1, keepdims=True))))
    ends = [*ends[1:], begins[-1]]
    return Film(np.array(begins), np.array(ends), np.array(rises))


@dataclass(frozen=True, slots=True)
class Drift:
    """How a band lives. widening, closing: change of its width per second while it burns, and
    always (1: just too wide to break down at the crest); jitter: of the strength; dwell_s: mean
    time of the closed film between bands; warmed: part of its strength missing just after an
    arc; cooling_s: time constant of its return."""

    widening: float
    closing: float
    jitter: float
    dwell_s: float
    warmed: float
    cooling_s: float


def band_life(rng: np.random.Generator, spans_s: Floats, drift: Drift) -> tuple[Bools, Floats]:
    """Which half-cycles find a band, and its strength / crest voltage there.

    Arcs leave the band warm, so the next comes easily; they dry its edges, so it widens until even
    a warm one no longer breaks down; it cools, is wetted, burns again or closes: bursts and pauses
    with a memory come of themselves.
    """
    chance, noise = rng.random(len(spans_s)), rng.normal(size=len(spans_s))
    fresh = rng.uniform(0.45, 0.8, len(spans_s))
    present, strength = np.zeros(len(spans_s), dtype=bool), np.full(len(spans_s), 9.0)
    width = warm = 0.0
    for lane, span_s in enumerate(spans_s.tolist()):
        if width <= 0.0:
            width = float(fresh[lane]) if chance[lane] < span_s / drift.dwell_s else 0.0
            if width <= 0.0:
                continue
        found = width * (1.0 - warm) * (1.0 + drift.jitter * float(noise[lane]))
        present[lane], strength[lane] = True, max(found, 0.1)
        width += span_s * (drift.widening * (found < 1.0) - drift.closing)
        width = 0.0 if width < 0.3 else width
        warm = drift.warmed if found < 1.0 else warm * exp(-span_s / drift.cooling_s)
    return present, strength
