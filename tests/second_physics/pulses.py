"""What is no arc: corona of drops, streamers, lightning and switching surges, keyed radio."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.families.labelled import Bools, Floats
from tests.second_physics.supply import Supply

KERNEL_DECAYS = 6.0


@dataclass(frozen=True, slots=True, eq=False)
class Pulses:
    """Short discharges, one entry each: time [s], signed crest [mA], decay [s], lane."""

    at_s: Floats
    peak_ma: Floats
    decay_s: Floats
    lane: Floats


@dataclass(frozen=True, slots=True)
class Surge:
    """A transient: a damped tone (hertz > 0) or an impulse with an undershoot (hertz = 0)."""

    at_s: float
    peak_ma: float
    hertz: float
    decay_s: float
    peak_kv: float = 0.0


@dataclass(frozen=True, slots=True)
class Keying:
    """A radio carrier that leaks in behind the filter and folds down to `hertz`, while keyed."""

    start_s: float
    end_s: float
    peak_ma: float
    hertz: float


NOTHING = Pulses(np.zeros(0), np.zeros(0), np.zeros(0), np.zeros(0))


def corona(
    rng: np.random.Generator,
    supply: Supply,
    lanes: Bools,
    peak_ma: float,
    many: tuple[float, float],
    decay_s: float,
) -> Pulses:
    """Discharges near the crests of some lanes; `many`: mean number at positive and negative crest.

    Small and many on the negative side, large and few on the positive (common practice); they come
    while the voltage still rises rather than after.
    """
    signs = supply.lanes.signs
    mean = np.where(signs > 0, many[0], many[1]) * lanes * (np.abs(supply.crests_kv) > 0)
    number = np.minimum(rng.poisson(mean), 12)
    lane = np.repeat(np.arange(len(signs)), number)
    part = np.clip(0.46 + 0.06 * rng.normal(size=len(lane)), 0.3, 0.62)
    size = np.clip(np.exp(0.5 * rng.normal(size=len(lane))) * 0.4, 0.05, 1.0)
    size = np.where(signs[lane] > 0, size, 0.6 * size)
    at = supply.lanes.edges_s[lane] + part * supply.lanes.spans_s[lane]
    decay = decay_s * rng.uniform(0.6, 1.4, len(lane))
    return Pulses(at, signs[lane] * peak_ma * size, decay, lane.astype(np.float64))


def streamers(
    rng: np.random.Generator, supply: Supply, lanes: Bools, strike: Floats, peak_ma: float
) -> Pulses:
    """Streamers in the last stretch before a breakdown; strike: its place in the lane, 0 to 1."""
    number = rng.poisson(2.0 * lanes)
    lane = np.repeat(np.arange(len(lanes)), number)
    part = np.maximum(strike[lane] - rng.uniform(0.01, 0.08, len(lane)), 0.02)
    at = supply.lanes.edges_s[lane] + part * supply.lanes.spans_s[lane]
    size = peak_ma * rng.uniform(0.2, 1.0, len(lane)) * supply.lanes.signs[lane]
    return Pulses(at, size, rng.uniform(2e-5, 8e-5, len(lane)), lane.astype(np.float64))


def laid(pulses: Pulses, wave: Floats, start_s: float, inner_hz: float) -> None:
    """Adds pulses to a wave: a sharp front, an exponential tail, the charge of each kept."""
    if len(pulses.at_s) == 0:
        return
    reach = int(np.ceil(KERNEL_DECAYS * pulses.decay_s.max() * inner_hz)) + 1
    position = (pulses.at_s - start_s) * inner_hz
    first = np.ceil(position).astype(np.int64)
    index = first[:, None] + np.arange(reach)
    age_s = (index - position[:, None]) / inner_hz
    shape = np.exp(-age_s / pulses.decay_s[:, None])
    charge = pulses.decay_s * inner_hz / shape.sum(1)
    added = shape * (pulses.peak_ma * charge)[:, None]
    inside = (index >= 0) & (index < len(wave))
    wave += np.bincount(index[inside], added[inside], len(wave))


def surged(
    surges: tuple[Surge, ...], current: Floats, voltage: Floats, start_s: float, inner_hz: float
) -> None:
    """Adds transients to the current [mA] and to the voltage [kV]."""
    for surge in surges:
        first = max(int((surge.at_s - start_s) * inner_hz), 0)
        last = min(first + int(10 * surge.decay_s * inner_hz), len(current))
        age = np.arange(last - first) / inner_hz
        tail = np.exp(-age / surge.decay_s)
        if surge.hertz > 0:
            shape = tail * np.sin(2 * np.pi * surge.hertz * age)
        else:
            shape = tail - 0.3 * np.exp(-age / (3 * surge.decay_s))
        current[first:last] += surge.peak_ma * shape
        voltage[first:last] += surge.peak_kv * shape


def keyed(keyings: tuple[Keying, ...], count: int, rate_hz: float) -> Floats:
    """The folded carriers in samples of the recording [mA]."""
    wave = np.zeros(count)
    for keying in keyings:
        first, last = (int(s * rate_hz) for s in (keying.start_s, keying.end_s))
        index = np.arange(max(first, 0), min(last, count))
        wave[index] += keying.peak_ma * np.sin(2 * np.pi * keying.hertz / rate_hz * index)
    return wave
