"""What else reaches the sensor: corona, lightning, radio, direct current."""

from __future__ import annotations

import numpy as np

from tests.families.labelled import Bools, Floats
from tests.fourth_physics.stage import Stage


def pulses(stage: Stage, at_s: Floats, crest_ma: Floats, front_s: float, tail_s: float) -> Floats:
    """Double exponentials that begin at at_s and crest at crest_ma [mA]; 12 tails long."""
    out = np.zeros(len(stage.t_s))
    length = int(12 * tail_s * stage.fine_hz) + 2
    first = np.searchsorted(stage.t_s, at_s)
    peak_s = np.log(tail_s / front_s) * front_s * tail_s / (tail_s - front_s)
    peak = np.exp(-peak_s / tail_s) - np.exp(-peak_s / front_s)
    at = first[:, None] + np.arange(length)
    inside = at < len(out)
    since = stage.t_s[np.minimum(at, len(out) - 1)] - at_s[:, None]
    shape = (np.exp(-since / tail_s) - np.exp(-since / front_s)) / peak
    np.add.at(out, at[inside], (crest_ma[:, None] * shape)[inside])
    return out


def corona(
    stage: Stage,
    share: float,
    trains: int,
    crest_ma: float,
    polarity: int,
    rng: np.random.Generator,
) -> tuple[Floats, Bools]:
    """Trains of short pulses within 30 degrees of the crest [mA], and the half-cycles with any.

    share: of half-cycles (of the polarity, 0 both) with a train; trains: mean pulses of one;
    crest_ma: the largest before the sensor's low-pass. Fronts 3 us, tails 40 us: design choice.
    """
    count = stage.halves
    signs = stage.sign[np.searchsorted(stage.half, np.arange(count))]
    flying = (rng.random(count) < share) & ((polarity == 0) | (signs == polarity))
    many = np.where(flying, 1 + rng.poisson(trains, count), 0)
    home = np.repeat(np.arange(count), many)
    length = np.diff(stage.edges_s)[home]
    at_s = stage.edges_s[home] + length * (0.5 + rng.uniform(-1, 1, len(home)) / 6)
    size = crest_ma * rng.uniform(0.2, 1, len(home)) * signs[home]
    kept = at_s < stage.t_s[-1]
    return pulses(stage, at_s[kept], size[kept], 3e-6, 4e-5), flying


def lightning(stage: Stage, strokes: int, crest_ma: float, rng: np.random.Generator) -> Floats:
    """Strokes nearby: microsecond fronts, tails of 50 to 200 us, either polarity [mA]."""
    at_s = rng.uniform(0, stage.setting.seconds, strokes)
    size = crest_ma * rng.uniform(0.3, 1, strokes) * rng.choice([-1.0, 1.0], strokes)
    return pulses(stage, at_s, size, 2e-6, float(rng.uniform(5e-5, 2e-4)))


def radio(stage: Stage, bursts: int, crest_ma: float, rng: np.random.Generator) -> Floats:
    """Bursts of a carrier within the sensor's pass-band, 5 to 200 ms, of any phase [mA]."""
    out = np.zeros(len(stage.t_s))
    for _ in range(bursts):
        first = rng.uniform(0, stage.setting.seconds)
        span = slice(*np.searchsorted(stage.t_s, [first, first + rng.uniform(0.005, 0.2)]))
        since = stage.t_s[span] - first
        tone = np.sin(2 * np.pi * rng.uniform(900, 4000) * since + rng.uniform(0, 6))
        out[span] += crest_ma * rng.uniform(0.2, 1) * tone * (1 + 0.5 * np.sin(800 * since)) / 1.5
    return out
