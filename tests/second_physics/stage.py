"""What a family is given, and what it hands over to be recorded."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.families.labelled import Bools, Floats, Marks, Surface
from tests.second_physics.chain import Chain
from tests.second_physics.pulses import NOTHING, Keying, Pulses, Surge
from tests.second_physics.supply import (
    Lanes,
    Supply,
    capacitive_ma,
    cycle_of,
    energised,
    flickered,
    lanes_of,
    shares_of,
)

CRESTS_KV = (8.98, 9.8, 15.5, 17.96, 26.9)
"""Phase-to-earth crests of 11, 12, 19, 22 and 33 kV networks."""

Span = tuple[float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """Conditions of one recording."""

    rng: np.random.Generator
    rate_hz: float
    mains_hz: float
    with_voltage: bool
    seconds: float

    @property
    def count(self) -> int:
        """Samples of the recording."""
        return round(self.seconds * self.rate_hz)

    @property
    def start_utc_ns(self) -> int:
        """When it starts: 2026-02-03 04:00 UTC and a few microseconds."""
        return 1_770_091_200_000_000_000 + 7_000

    def within(self, span: Span | None) -> slice:
        """Samples of a span of time; none without a span."""
        if span is None:
            return slice(0, 0)
        first, end = (min(max(round(s * self.rate_hz), 0), self.count) for s in span)
        return slice(first, end)

    def uniform(self, low: float, high: float) -> float:
        """A number by chance, even."""
        return float(self.rng.uniform(low, high))

    def spread(self, low: float, high: float) -> float:
        """A number by chance, even in its logarithm."""
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def chance(self, share: float) -> bool:
        """True in a share of cases."""
        return bool(self.rng.random() < share)

    def lanes(self) -> Lanes:
        """Time."""
        return lanes_of(self.rng, self.mains_hz, self.seconds)

    def supply(self, low: float = 0.005, high: float = 0.03, third: float = 0.0) -> Supply:
        """An ordinary voltage of a distortion between two shares, flickering a little."""
        lanes = self.lanes()
        shares = shares_of(self.rng, self.uniform(low, high))
        shares[3] = max(shares[3], third)
        level = flickered(self.rng, lanes, self.uniform(0.0, 0.006))
        crest = float(self.rng.choice(CRESTS_KV))
        return energised(lanes, crest, cycle_of(self.rng, shares), level)

    def chain(self, crest_ma: float, *ranges_ma: float) -> Chain:
        """A sensor for a crest current; or one of given ranges."""
        rng = self.rng
        fitting = [s for s in (2.0, 5.0, 25.0, 100.0, 250.0, 1000.0) if s > 1.5 * crest_ma]
        scales = ranges_ma or (fitting[min(int(self.chance(0.3)), len(fitting) - 1)],)
        bits = int(rng.choice((12, 14, 16) if scales[-1] > 50 else (10, 12, 12, 14, 16)))
        noise = self.spread(0.003, 0.015) + 2e-5 * scales[-1]
        return Chain(
            scales,
            bits,
            self.uniform(800.0, 2000.0),
            int(rng.integers(1, 3)),
            self.spread(0.15, 1.0) if self.chance(0.4) else 0.0,
            float(np.clip(0.008 * rng.normal(), -0.02, 0.02)),
            noise,
            noise * self.uniform(0.1, 0.8),
            self.spread(0.0005, 0.006) * complex(np.exp(1j * self.uniform(0, 6.28))),
            self.uniform(0.0, 80e-6),
            False,
            self.uniform(1500.0, 4000.0),
            int(rng.choice((12, 14, 16))),
            self.spread(1e-4, 1.5e-3),
        )

    def strays(self, supply: Supply, rms_ma: float | None = None) -> Floats:
        """Capacitances [pF] to the own phase and its neighbours, of a given dry current."""
        wanted = self.spread(0.02, 0.2) if rms_ma is None else rms_ma
        omega = 2 * np.pi * self.mains_hz
        own = wanted * np.sqrt(2) / (omega * supply.crest_kv * 1e-6)
        weights = [own, own * self.uniform(0.0, 0.25), own * self.uniform(0.0, 0.25)]
        return np.array(weights, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Arcs:
    """Lanes with a band: their numbers, the path's and the columns' current [mA], signed."""

    lanes: np.ndarray
    path: Floats
    column: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """All that happened. Arrays of shape (lanes, STEPS) or (lanes,).

    film_ma: resistive film current. beside_ma: arrester, injected third harmonic, direct current.
    more_kv: voltage beside the cycle. reference: the voltage as the reference's transformer gives
    it. power_arc: a flashover's. stuck: code of a dead sensor.
    """

    supply: Supply
    chain: Chain
    picofarad: Floats
    film_ma: Floats
    surface: Marks
    power_arc: Bools
    calibrated: bool
    arcs: Arcs | None = None
    beside_ma: Floats | None = None
    more_kv: Floats | None = None
    pulses: Pulses = NOTHING
    surges: tuple[Surge, ...] = ()
    keyings: tuple[Keying, ...] = ()
    reference: Floats | None = None
    gaps_s: tuple[Span, ...] = ()
    losses_s: tuple[Span, ...] = ()
    lead_off_s: Span | None = None
    dead_s: Span | None = None
    stuck: int = 0
    current: Floats = field(init=False)
    column: Floats = field(init=False)

    def __post_init__(self) -> None:
        """Adds up the current of all branches, once."""
        current = capacitive_ma(self.supply, self.picofarad, self.more_kv) + self.film_ma
        if self.beside_ma is not None:
            current += self.beside_ma
        column = np.zeros((0, 0))
        if self.arcs is not None:
            current[self.arcs.lanes] += self.arcs.path
            column = np.zeros_like(current)
            column[self.arcs.lanes] = self.arcs.column
        object.__setattr__(self, "current", current)
        object.__setattr__(self, "column", column)


def take_of(
    stage: Stage, supply: Supply, chain: Chain, film_ma: Floats, strays: Floats | None = None
) -> Take:
    """A take without anything special: wet where the film says so, calibrated in two of three."""
    count = len(supply.lanes)
    return Take(
        supply,
        chain,
        stage.strays(supply) if strays is None else strays,
        film_ma,
        np.full(count, Surface.WET, dtype=np.int8),
        np.zeros(count, dtype=bool),
        stage.chance(0.7),
    )
