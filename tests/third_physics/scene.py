"""What one recording is made of: supply, insulator, sensor. Families replace what they are about.

Constants. Harmonic content up to 8 %: limit of EN 50160 for the total distortion (as recalled).
Capacitances give 0.05 to 2 mA at 11 to 33 kV (design choice). Wet conductance as the families
want. Sensor: low-pass, droop, bits, noise as the requirement names them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.families.labelled import Bools, Floats
from tests.third_physics.native import ATTEMPTS, Segment

LEAD_S = 0.3
"""Integrated before the recording starts, so that filters and residues have settled."""

TAIL_S = 0.05

Span = tuple[float, float]
NOWHERE: Span = (-1.0, -1.0)

NEVER = 99.0
"""Scatter that keeps a band from igniting in a half-cycle."""


@dataclass(frozen=True, slots=True)
class Frame:
    """What a recording is asked to be. Times in scenes count from its first sample [s]."""

    rng: np.random.Generator
    rate_hz: float
    mains_hz: float
    with_voltage: bool
    seconds: float

    def uniform(self, low: float, high: float) -> float:
        """Evenly between."""
        return float(self.rng.uniform(low, high))

    def spread(self, low: float, high: float) -> float:
        """Evenly between on a logarithmic scale."""
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def chance(self, share: float) -> bool:
        """True in a share of cases."""
        return bool(self.rng.random() < share)

    def times(self, per_s: float, least: int = 1) -> Floats:
        """Moments at random, in order."""
        number = max(int(self.rng.poisson(per_s * self.seconds)), least)
        return np.sort(self.rng.uniform(0.05, self.seconds - 0.05, number))

    def inside(self) -> Span:
        """A stretch in the middle of the recording."""
        first = self.uniform(0.15, 0.35) * self.seconds
        return first, first + self.uniform(0.25, 0.45) * self.seconds


@dataclass(frozen=True, slots=True, eq=False)
class Halves:
    """Half-cycles of the source: edges [s], sign of each."""

    edges_s: Floats
    sign: Floats

    def __len__(self) -> int:
        return len(self.sign)

    def middle_s(self) -> Floats:
        """Middle of each."""
        return (self.edges_s[:-1] + self.edges_s[1:]) / 2

    def within(self, span: Span) -> Bools:
        """Those whose middle lies in a span."""
        at = self.middle_s()
        return np.asarray((at >= span[0]) & (at < span[1]))


@dataclass(frozen=True, slots=True)
class Sensor:
    """From primary current to codes. full_scales_ma: None chooses a range that is not clipped."""

    low_pass_hz: float = 1500.0
    droop_hz: float = 0.0
    bits: int = 14
    full_scales_ma: tuple[float, ...] | None = None
    noise_ma: float = 0.01
    offset_ma: float = 0.0
    sign: int = 1
    skew_s: float = 0.0
    bent_reference: float = 0.0
    dead: Span = NOWHERE
    lead_off: Span = NOWHERE
    losses: tuple[Span, ...] = ()
    gaps: tuple[Span, ...] = ()
    calibrated: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """One recording before it is integrated.

    level: factor on the source, a half-cycle; turn_rad: its phase against the reference there.
    segments: the column in series; beside_us: a plain film in parallel, a half-cycle [uS].
    pulses: corona and droplets (time [s], crest [mA], decay [s]).
    surges: added to the source (time [s], crest [kV], decay [s]).
    bursts: radio noise into the sensor (span, level [mA], Hz; 0 Hz: broad).
    """

    halves: Halves
    crest_kv: float
    harmonics: tuple[tuple[int, float, float], ...]
    hum_span: Span
    hum: tuple[tuple[int, float, float], ...]
    level: Floats
    segments: tuple[Segment, ...]
    scatter: Floats
    beside_us: Floats
    scale: Floats
    sensor: Sensor
    self_pf: float = 20.0
    neighbours_pf: tuple[float, float] = (0.0, 0.0)
    arrester_ma: float = 0.0
    arrester_power: float = 9.0
    direct_ma: float = 0.0
    pulses: tuple[tuple[float, float, float], ...] = ()
    surges: tuple[tuple[float, float, float], ...] = ()
    bursts: tuple[tuple[float, float, float, float], ...] = ()
    dead_line: Span = NOWHERE
    abnormal: Span = NOWHERE
    power_arc: Span = NOWHERE
    unscored: tuple[float, ...] = field(default=())


def halves_of(frame: Frame) -> Halves:
    """Half-cycles at up to 1 Hz off nominal, drifting."""
    hertz = frame.mains_hz + frame.uniform(-0.9, 0.9)
    swing, pace = frame.uniform(0, 0.09), frame.uniform(0.1, 0.5)
    turn = frame.uniform(0, 2 * np.pi)
    time = np.arange(-LEAD_S - 0.05, frame.seconds + TAIL_S + 0.05, 1e-3)
    phase = np.cumsum(hertz + swing * np.sin(2 * np.pi * pace * time + turn)) * 2e-3
    number = np.arange(np.ceil(phase[0] + frame.uniform(0, 1)), np.floor(phase[-1]))
    edges = np.interp(number, phase, time)
    sign = np.where(np.arange(len(edges) - 1) % 2 == 0, 1.0, -1.0)
    return Halves(edges, sign)


def harmonics_of(frame: Frame, total: float) -> tuple[tuple[int, float, float], ...]:
    """Order, share, phase; the r.s.s. of the shares is `total`."""
    orders = (3, 5, 7, 11, 13)
    weight = frame.rng.uniform(0.05, 1, 5) * np.array([0.7, 1.0, 0.7, 0.3, 0.25])
    share = total * weight / np.sqrt(np.sum(weight**2))
    turns = frame.rng.uniform(0, 2 * np.pi, 5)
    return tuple(zip(orders, share.tolist(), turns.tolist(), strict=True))


def sensor_of(frame: Frame) -> Sensor:
    """A sensor as good and as bad as they come."""
    return Sensor(
        low_pass_hz=frame.uniform(800, 2000),
        droop_hz=frame.uniform(0.02, 0.5) if frame.chance(0.5) else 0.0,
        bits=int(frame.rng.choice((12, 14, 16))),
        noise_ma=frame.spread(0.005, 0.05),
        offset_ma=frame.uniform(-0.05, 0.05),
        skew_s=frame.uniform(-1e-4, 1e-4),
        calibrated=frame.chance(0.7),
    )


def plain(frame: Frame, film_ma: float, distortion: float | None = None) -> Scene:
    """An energised insulator with an even film that carries `film_ma` at the crest."""
    halves, crest = halves_of(frame), frame.spread(9.0, 27.0)
    total = frame.uniform(0.01, 0.04) if distortion is None else distortion
    share = frame.rng.uniform(0.8, 1.2, 5)
    each_us = film_ma / crest * share.sum() / share
    segments = tuple(Segment(length_cm=6.0, full_us=float(us)) for us in each_us * 1.0)
    capacity = frame.spread(0.05, 0.6) / (2 * np.pi * frame.mains_hz * crest * 1e-6)
    return Scene(
        halves,
        crest,
        harmonics_of(frame, total),
        NOWHERE,
        (),
        np.ones(len(halves)),
        segments,
        np.full((len(halves), ATTEMPTS), NEVER),
        np.zeros(len(halves)),
        np.ones(len(halves)),
        sensor_of(frame),
        self_pf=float(capacity),
        neighbours_pf=(frame.uniform(0, 0.1) * capacity, frame.uniform(0, 0.1) * capacity),
    )
