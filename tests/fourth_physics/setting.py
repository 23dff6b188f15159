"""What surrounds a recording: line, supply, sensor. Drawn from a seed, then bent by a family."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

RATES_HZ = (4_800, 6_400, 10_000, 12_800, 25_600)


@dataclass(frozen=True, slots=True)
class Setting:
    """All is a design choice within the required bounds.

    crest_kv: of the phase-to-earth voltage. offset_hz: mean distance from nominal; wander_hz:
    amplitude of its slow drift. distortion: r.m.s. of orders 3 to 13 to the fundamental.
    flat: share cut off the crest. notch: depth of commutation notches, to the crest.
    tone_hz, tone: ripple-control tone and its part of the crest. strokes: switching transients.
    inrush: part of even and third order at its start. swell, swing_rad, swell_at: factor and shift
    of the voltage in an earth fault from that share of the recording on. trip_at: share after
    which the line is dead (2: never). capacity_ma: r.m.s. capacitive current of the bare surface.
    low_pass_hz, order: of the sensor. droop_hz: its high-pass, 0 none. skew_s: lead of the voltage.
    noise_ma, pickup_ma: r.m.s. bias_ma: the amplifier's offset. full_ma: of each range, finest
    first; none: the smallest usual one that holds the current. reference: a voltage channel exists.
    reference_distortion: seen there only. reference_shift_rad: of the phase it is taken from.
    known: the dry phasor was calibrated. reversed: polarity.
    """

    rate_hz: int = 10_000
    nominal_hz: int = 50
    seconds: float = 3.0
    crest_kv: float = 50.0
    offset_hz: float = 0.0
    wander_hz: float = 0.0
    distortion: float = 0.0
    flat: float = 0.0
    notch: float = 0.0
    tone_hz: float = 0.0
    tone: float = 0.0
    strokes: int = 0
    inrush: float = 0.0
    swell: float = 1.0
    swing_rad: float = 0.0
    swell_at: float = 2.0
    trip_at: float = 2.0
    capacity_ma: float = 0.1
    low_pass_hz: float = 1500.0
    order: int = 2
    droop_hz: float = 0.0
    skew_s: float = 0.0
    noise_ma: float = 0.01
    pickup_ma: float = 0.0
    bias_ma: float = 0.0
    bits: int = 16
    full_ma: tuple[float, ...] = ()
    reference: bool = True
    reference_distortion: float = 0.0
    reference_shift_rad: float = 0.0
    known: bool = True
    reversed: bool = False


def drawn(rng: np.random.Generator, turn: int, seconds: float) -> Setting:
    """A setting by chance; `turn` walks through sampling rates and nominal frequencies."""
    nominal = (50, 60)[turn // len(RATES_HZ) % 2]
    offset = float(rng.uniform(-0.8, 0.8))
    reference = bool(rng.random() < 0.6)
    return Setting(
        rate_hz=RATES_HZ[turn % len(RATES_HZ)],
        nominal_hz=nominal,
        seconds=seconds,
        crest_kv=float(np.exp(rng.uniform(np.log(9), np.log(190)))),
        offset_hz=offset,
        wander_hz=float(rng.uniform(0, 1 - abs(offset))),
        distortion=float(rng.uniform(0, 0.08)),
        capacity_ma=float(np.exp(rng.uniform(np.log(0.05), np.log(0.5)))),
        low_pass_hz=float(rng.uniform(800, 2000)),
        order=int(rng.integers(1, 5)),
        droop_hz=float(rng.choice([0.0, rng.uniform(0.02, 0.5)])),
        skew_s=float(rng.uniform(-1e-4, 1e-4)),
        noise_ma=float(np.exp(rng.uniform(np.log(0.005), np.log(0.05)))),
        pickup_ma=float(rng.uniform(0, 0.02)),
        bias_ma=float(rng.uniform(-0.05, 0.05)),
        bits=int(rng.integers(10, 17)),
        reference=reference,
        known=reference and bool(rng.random() < 0.7),
    )
