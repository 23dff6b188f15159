"""What flows without arcs: capacitive current, wet film, arrester, spikes, transients."""

from __future__ import annotations

from math import pi

import numpy as np

from tests.families.labelled import Bools, Floats
from tests.families.mains import Harmonic, Mains, harmonic_sum

KNOT_S = 0.02
"""Spacing of the points between which slow things are straight lines."""


def uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """A number between two limits, as likely in each decade (both limits positive)."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def neighboured(rng: np.random.Generator, crest_ma: float, share: float) -> complex:
    """Complex crest of the capacitive current with both neighbour phases coupled at 120 degrees.

    share: largest coupling of a neighbour to the own one's. Real part in phase with the voltage.
    """
    behind, ahead = rng.uniform(0, share, 2)
    turn = np.exp(2j * pi / 3)
    phasor = 1j * (1 + behind * np.conj(turn) + ahead * turn)
    return complex(crest_ma * phasor / abs(phasor))


def capacitive(mains: Mains, dry_ma: complex) -> Floats:
    """Current of the bare surface [mA]: each harmonic of the voltage order-fold, leading by 90.

    Orders 5, 11 turn backwards and 7, 13 forwards past the neighbours; that is left out.
    """
    amplified = tuple(
        Harmonic(h.order, h.amplitude * h.order * abs(dry_ma), h.phase + pi / 2)
        for h in mains.harmonics
    )
    wave = dry_ma * mains.turn * mains.rotation
    harmonics = harmonic_sum(mains.turn, amplified)
    return wave.imag + harmonics * np.abs(mains.rotation)


def wandering(
    rng: np.random.Generator, mains: Mains, middle: float, deviation: float, memory_s: float
) -> Floats:
    """A positive quantity that drifts about `middle`: log-normal, with a memory."""
    knots = int(len(mains.voltage) / mains.inner_hz / KNOT_S) + 2
    keep = np.exp(-KNOT_S / memory_s)
    kicks = rng.standard_normal(knots) * deviation * np.sqrt(1 - keep * keep)
    weight = keep ** np.arange(min(knots, int(6 * memory_s / KNOT_S) + 1))
    size = len(kicks) + len(weight)
    slow = np.fft.irfft(np.fft.rfft(kicks, size) * np.fft.rfft(weight, size), size)[:knots]
    return on_inner(mains, middle * np.exp(slow))


def on_inner(mains: Mains, knots: Floats) -> Floats:
    """Straight lines between points `KNOT_S` apart, on the inner grid."""
    at = np.arange(len(mains.voltage)) / (mains.inner_hz * KNOT_S)
    return np.interp(at, np.arange(len(knots)), knots)


def at_middles(mains: Mains, wave: Floats) -> Floats:
    """A slow quantity in the middle of each half-cycle."""
    middle = (mains.boundaries[:-1] + mains.boundaries[1:]) / 2
    index = np.clip((middle * mains.step + mains.lead).astype(np.int64), 0, len(wave) - 1)
    return wave[index]


def arrester(mains: Mains, crest_ma: float, exponent: float) -> Floats:
    """Resistive current of a surge arrester in parallel [mA]: a steep power law of the voltage.

    Below its knee a zinc-oxide block conducts about as u^5 to u^20 (common practice); the same in
    each half-cycle, even about the crest, without ignition.
    """
    size = np.abs(mains.voltage)
    return crest_ma * np.copysign(np.exp(exponent * np.log(np.maximum(size, 1e-9))), mains.voltage)


def spikes(
    mains: Mains, half: np.ndarray, angle_rad: Floats, crest_ma: Floats, tail_s: Floats
) -> Floats:
    """Short one-sided discharges [mA] of the voltage's sign: a jump and an exponential tail."""
    wave = np.zeros(len(mains.voltage))
    begin = mains.boundaries[half]
    length = mains.boundaries[half + 1] - begin
    first = ((begin + angle_rad / pi * length) * mains.step + mains.lead).astype(np.int64)
    since = np.arange(max(int(6 * float(np.max(tail_s, initial=0)) * mains.inner_hz), 2))
    shape = np.exp(-since[None, :] / np.maximum(tail_s[:, None] * mains.inner_hz, 0.3))
    place = np.clip(first[:, None] + since[None, :], 0, len(wave) - 1)
    np.add.at(wave, place, shape * (crest_ma * mains.signs[half])[:, None])
    return wave


def ringing(
    mains: Mains,
    at_s: Floats,
    crest_ma: Floats,
    hertz: Floats,
    decay_s: Floats,
) -> Floats:
    """Damped oscillations [mA] starting at given times: what switching leaves behind."""
    wave = np.zeros(len(mains.voltage))
    for start, crest, pitch, decay in zip(at_s, crest_ma, hertz, decay_s, strict=True):
        first = int(start * mains.inner_hz) + mains.lead
        since = np.arange(min(int(7 * decay * mains.inner_hz), len(wave) - first)) / mains.inner_hz
        wave[first : first + len(since)] += (
            crest * np.exp(-since / decay) * np.cos(2 * pi * pitch * since)
        )
    return wave


def chosen(rng: np.random.Generator, mains: Mains, share: float) -> Bools:
    """Half-cycles drawn independently, each with probability `share`."""
    return rng.random(len(mains.boundaries) - 1) < share
