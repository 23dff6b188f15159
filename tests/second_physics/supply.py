"""The conductor's voltage, half-cycle by half-cycle: every half-cycle is one lane of equal steps.

A lane starts at a zero of the fundamental. All waveforms have the shape (lanes, STEPS).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tests.families.labelled import Floats

STEPS = 648
"""Steps of a half-cycle (15 us at 50 Hz); divisible by three, so a neighbour's phase is a shift."""

LEAD_S, TAIL_S = 0.3, 0.1
"""Simulated before and after the recording, so that filters have settled."""

PHASE_STEP = np.pi / STEPS
THIRD_TURN = 2 * STEPS // 3


@dataclass(frozen=True, slots=True, eq=False)
class Lanes:
    """Time of the lanes. edges_s: starts and the last end [s from sample 0]; signs: +1, -1."""

    nominal_hz: float
    edges_s: Floats
    signs: Floats

    def __len__(self) -> int:
        return len(self.signs)

    @property
    def spans_s(self) -> Floats:
        """Length of each lane [s]."""
        return np.diff(self.edges_s)

    def times_s(self) -> Floats:
        """Time of every step [s], shape (lanes, STEPS)."""
        return self.edges_s[:-1, None] + self.spans_s[:, None] * (np.arange(STEPS) / STEPS)

    def at(self, second: float) -> int:
        """The lane that holds a time."""
        found = int(np.searchsorted(self.edges_s, second, "right")) - 1
        return min(max(found, 0), len(self) - 1)


def lanes_of(rng: np.random.Generator, nominal_hz: float, seconds: float) -> Lanes:
    """Lanes at up to 1 Hz off nominal, ramping and swaying slowly."""
    second = np.arange(-LEAD_S - 0.06, seconds + TAIL_S + 0.06, 2e-3)
    offset, sway = rng.uniform(-0.9, 0.9), rng.uniform(0.0, 0.12)
    ramp, period_s = rng.uniform(-0.3, 0.3), rng.uniform(4.0, 40.0)
    wander = sway * np.sin(2 * np.pi * second / period_s + rng.uniform(0, 6.28))
    hertz = nominal_hz + np.clip(offset + ramp * second / seconds + wander, -1.0, 1.0)
    turns = np.cumsum(hertz) * 2e-3 * 2 + rng.uniform(0.0, 2.0)
    whole = np.arange(np.ceil(turns[0]), np.floor(turns[-1]) + 1)
    signs = np.where(whole[:-1] % 2 == 0, 1.0, -1.0)
    return Lanes(nominal_hz, np.interp(whole, turns, second), signs)


@dataclass(frozen=True, slots=True, eq=False)
class Supply:
    """A voltage over lanes.

    crest_kv: crest of the undistorted fundamental at level 1. cycle: one cycle at crest 1,
    2 * STEPS steps. level: relative level at each lane's edge. voltage: [kV] by lane and step.
    """

    lanes: Lanes
    crest_kv: float
    cycle: Floats
    level: Floats
    voltage: Floats

    @property
    def crests_kv(self) -> Floats:
        """Crest of the fundamental in each lane [kV]."""
        return self.crest_kv * (self.level[:-1] + self.level[1:]) / 2


def cycle_of(rng: np.random.Generator, shares: Mapping[int, float]) -> Floats:
    """A cycle of crest 1 with harmonics of given shares at phases by chance."""
    phase = PHASE_STEP * np.arange(2 * STEPS, dtype=np.float64)
    wave: Floats = np.asarray(np.sin(phase), dtype=np.float64)
    for order, share in shares.items():
        wave = wave + share * np.sin(order * phase + rng.uniform(0.0, 2 * np.pi))
    return wave


def shares_of(rng: np.random.Generator, distortion: float) -> dict[int, float]:
    """Shares of 3rd to 13th whose root of squares is `distortion`; 5th and 7th lead."""
    orders = (3, 5, 7, 11, 13)
    drawn = np.array([0.3, 1.0, 0.7, 0.4, 0.3]) * rng.uniform(0.2, 1.0, len(orders))
    drawn *= distortion / np.sqrt(np.sum(drawn**2))
    return dict(zip(orders, drawn.tolist(), strict=True))


def by_lane(lanes: Lanes, cycle: Floats) -> Floats:
    """A cycle laid over all lanes, shape (lanes, STEPS)."""
    halves = cycle.reshape(2, STEPS)
    return np.asarray(halves[(lanes.signs < 0).astype(np.int64)])


def ramped(edges: Floats) -> Floats:
    """A quantity at lane edges, straight within each lane."""
    return np.asarray(edges[:-1, None] + np.diff(edges)[:, None] * (np.arange(STEPS) / STEPS))


def energised(lanes: Lanes, crest_kv: float, cycle: Floats, level: Floats | None = None) -> Supply:
    """The voltage of a cycle at a level that changes from lane to lane."""
    relative = np.ones(len(lanes) + 1) if level is None else level
    wave = by_lane(lanes, crest_kv * cycle) * ramped(relative)
    return Supply(lanes, crest_kv, cycle, relative, wave)


def flickered(rng: np.random.Generator, lanes: Lanes, depth: float) -> Floats:
    """A level that flickers at 2 to 14 Hz, as of an arc furnace or a pump."""
    hertz, phase = rng.uniform(2.0, 14.0, 2), rng.uniform(0.0, 6.28, 2)
    swing = np.sin(2 * np.pi * np.outer(lanes.edges_s, hertz) + phase).sum(1) / 2
    return np.asarray(1.0 + depth * swing)


def interharmonic(rng: np.random.Generator, supply: Supply, share: float) -> Floats:
    """A tone between the harmonics, at 2.2 to 8.8 times the mains [kV]."""
    order = rng.integers(2, 9) + rng.uniform(0.2, 0.8)
    omega = 2 * np.pi * supply.lanes.nominal_hz * order
    tone = np.sin(omega * supply.lanes.times_s() + rng.uniform(0.0, 6.28))
    return np.asarray(share * supply.crest_kv * tone * ramped(supply.level))


def coupled(cycle: Floats, picofarad: Floats) -> Floats:
    """A cycle weighted by the capacitances to the own phase and to the two neighbours."""
    own, behind, ahead = picofarad
    late, early = np.roll(cycle, THIRD_TURN), np.roll(cycle, -THIRD_TURN)
    return np.asarray(own * cycle + behind * late + ahead * early)


def capacitive_ma(supply: Supply, picofarad: Floats, more_kv: Floats | None = None) -> Floats:
    """Current of the stray capacitances [mA]; `more_kv`: voltage beside the cycle."""
    whole = coupled(supply.cycle, picofarad)
    slope = (np.roll(whole, -1) - np.roll(whole, 1)) / (2 * PHASE_STEP) * supply.crest_kv
    omega = np.pi / supply.lanes.spans_s[:, None]
    current = by_lane(supply.lanes, slope) * ramped(supply.level) * omega * 1e-6
    if more_kv is not None:
        steps = np.gradient(more_kv.ravel()).reshape(more_kv.shape)
        current += picofarad[0] * steps * STEPS / supply.lanes.spans_s[:, None] * 1e-6
    return current


def dry_phasor_ma(supply: Supply, picofarad: Floats) -> complex:
    """R.m.s. of the fundamental capacitive current against the voltage as a sine, at level 1."""
    own, behind, ahead = picofarad
    turn = np.exp(2j * np.pi / 3)
    omega = np.pi / float(np.median(supply.lanes.spans_s))
    weight = own + behind / turn + ahead * turn
    return complex(1j * omega * weight * supply.crest_kv / np.sqrt(2) * 1e-6)
