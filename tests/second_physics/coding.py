"""Codes of all channels, with what the sensor and the source spoil."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edge.samples import SignalDescription
from tests.families.labelled import MISSING_CODE, Bools, Codes, Floats
from tests.second_physics.chain import codes_of, current_channel, ends, voltage_channel
from tests.second_physics.stage import Stage, Take


@dataclass(frozen=True, slots=True, eq=False)
class Coded:
    """What the source delivers, and which samples are absent or at the converter's end."""

    description: SignalDescription
    samples: Codes
    missing: Bools | None
    gaps: tuple[tuple[int, int], ...]
    absent: Bools
    at_end: Bools

    def lost(self, marks: Floats) -> Bools:
        """Half-cycles with an absent sample."""
        return any_within(self.absent, marks)

    def clipped(self, marks: Floats) -> Bools:
        """Half-cycles with a clipped sample of the coarsest range."""
        return any_within(self.at_end, marks)


def any_within(mark: Bools, edges: Floats) -> Bools:
    """Whether any sample between two edges is marked."""
    running = np.concatenate(([0], np.cumsum(mark)))
    at = np.clip(np.ceil(edges), 0, len(mark)).astype(np.int64)
    return np.asarray(np.diff(running[at]) > 0)


def coded(
    stage: Stage, take: Take, current: Floats, disturbed: Floats, noise: Floats, kv: Floats | None
) -> Coded:
    """All columns: ranges from the finest, then the reference."""
    chain, rng = take.chain, stage.rng
    on = np.ones(stage.count)
    on[stage.within(take.lead_off_s)] = 0.0
    wave = on * current + disturbed + noise
    columns, channels = [], []
    for number, step in enumerate(chain.steps_ma):
        apart = wave if number == 0 else wave + 0.3 * step * rng.normal(size=stage.count)
        codes = codes_of(apart, step, chain.bits)
        codes[stage.within(take.dead_s)] = take.stuck
        columns.append(codes)
        channels.append(current_channel(f"I{number + 1}", step, chain.bits))
    low, high = ends(chain.bits)
    at_end = (columns[-1] <= low) | (columns[-1] >= high)
    if kv is not None:
        step = 2.2 * take.supply.crest_kv / 2 ** (chain.reference_bits - 1)
        noisy = kv + chain.reference_noise * take.supply.crest_kv * rng.normal(size=len(kv))
        columns.append(codes_of(noisy, step, chain.reference_bits))
        channels.append(voltage_channel(step, chain.reference_bits))
    samples = np.stack(columns, axis=1)
    missing, absent = _losses(stage, take, samples)
    description = SignalDescription(stage.rate_hz, stage.mains_hz, tuple(channels))
    return Coded(description, samples, missing, _rows(stage, take), absent, at_end)


def _rows(stage: Stage, take: Take) -> tuple[tuple[int, int], ...]:
    spans = [stage.within(span) for span in take.gaps_s]
    return tuple((span.start, span.stop) for span in spans if span.stop > span.start)


def _losses(stage: Stage, take: Take, samples: Codes) -> tuple[Bools | None, Bools]:
    """Marks absent samples in the codes too."""
    absent = np.zeros(stage.count, dtype=bool)
    for first, end in _rows(stage, take):
        absent[first:end] = True
    if not take.losses_s:
        return None, absent
    missing = np.zeros(samples.shape, dtype=bool)
    for span in take.losses_s:
        missing[stage.within(span), : len(take.chain.full_scales_ma)] = True
    samples[missing] = MISSING_CODE
    return missing, absent | missing.any(1)
