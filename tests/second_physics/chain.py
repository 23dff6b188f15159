"""From the collector to the codes: filter, droop, hum, noise, ranges and converter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edge.samples import Channel, ChannelKind
from tests.families.labelled import Codes, Floats

Spectrum = npt.NDArray[np.complex128]

CLAMP = 4.0
"""The input's protection limits the current to so many times the coarsest range."""

DAMPING = 0.7071
"""Quality of the second-order filter (Butterworth)."""


@dataclass(frozen=True, slots=True)
class Chain:
    """One sensor.

    full_scales_ma: of its ranges, finest first. bits of the converter. corner_hz, order: low-pass.
    droop_hz: corner of the high-pass, 0: none. gain_error: true gain over declared, less one.
    noise_ma, flicker_ma: r.m.s. white and 1/f. hum: r.m.s. pick-up as a phasor [mA].
    skew_s: the current lags the voltage channel. turned: wired the wrong way round.
    reference_hz, reference_bits, reference_noise: of the voltage channel (noise: relative to the
    crest).
    """

    full_scales_ma: tuple[float, ...]
    bits: int
    corner_hz: float
    order: int
    droop_hz: float
    gain_error: float
    noise_ma: float
    flicker_ma: float
    hum: complex
    skew_s: float
    turned: bool
    reference_hz: float
    reference_bits: int
    reference_noise: float

    @property
    def sign(self) -> int:
        """-1 where the leads are exchanged."""
        return -1 if self.turned else 1

    @property
    def steps_ma(self) -> tuple[float, ...]:
        """One code of each range [mA]."""
        return tuple(scale / 2 ** (self.bits - 1) for scale in self.full_scales_ma)

    def response(self, hertz: Floats) -> Spectrum:
        """Of the current channel, delay and droop included, gain and sign not."""
        ratio = hertz / self.corner_hz
        lower = 1 + 1j * ratio if self.order == 1 else 1 + 1j * ratio / DAMPING - ratio**2
        delayed = np.exp(-2j * np.pi * hertz * self.skew_s) / lower
        if self.droop_hz > 0:
            delayed = delayed * (1j * hertz / (1j * hertz + self.droop_hz))
        return np.asarray(delayed, dtype=np.complex128)

    def reference_response(self, hertz: Floats) -> Spectrum:
        """Of the voltage channel."""
        return np.asarray(1.0 / (1.0 + 1j * hertz / self.reference_hz), dtype=np.complex128)

    def phasor(self, primary: complex, hertz: float) -> complex:
        """A fundamental current phasor as delivered, against the delivered voltage."""
        at = np.array([hertz])
        seen = complex(self.response(at)[0] / self.reference_response(at)[0])
        return self.sign * ((1 + self.gain_error) * primary * seen + self.hum)


def fast_length(least: int) -> int:
    """The smallest length with no factor above five that is at least `least`."""
    best = 1 << (least - 1).bit_length()
    five = 1
    while five < best:
        three = five
        while three < best:
            two = three << max(-(-least // three) - 1, 0).bit_length()
            best = min(best, two)
            three *= 3
        five *= 5
    return best


def settling_s(chain: Chain) -> float:
    """Silence to add behind a wave, so that the droop's memory does not run round to its start."""
    return 0.1 if chain.droop_hz == 0 else 4 / (2 * np.pi * chain.droop_hz)


def clamped(chain: Chain, wave: Floats) -> Floats:
    """A current behind the surge protection of the sensor's input."""
    limit = CLAMP * chain.full_scales_ma[-1]
    return np.clip(wave, -limit, limit)


def passed(wave: Floats, response: Spectrum, length: int, before: float) -> Floats:
    """A wave through a response given at the frequencies of `length`.

    before: what the wave had stood at for long when it began.
    """
    spectrum = np.fft.rfft(wave - before, length) * response
    out: Floats = np.fft.irfft(spectrum, length)[: len(wave)] + before * response[0].real
    return out


def noise_of(rng: np.random.Generator, chain: Chain, count: int, rate_hz: float) -> Floats:
    """White and 1/f noise of a range [mA]."""
    white = chain.noise_ma * rng.normal(size=count)
    if chain.flicker_ma <= 0:
        return white
    length = fast_length(count)
    spectrum = np.fft.rfft(rng.normal(size=length))
    hertz = np.fft.rfftfreq(length, 1 / rate_hz)
    spectrum /= np.sqrt(np.maximum(hertz, 0.1))
    spectrum[0] = 0.0
    slow = np.fft.irfft(spectrum, length)[:count]
    return np.asarray(white + chain.flicker_ma * slow / slow.std(), dtype=np.float64)


def ends(bits: int) -> tuple[int, int]:
    """End codes of a converter; the lowest of sixteen bits is the mark of an absent sample."""
    top = 2 ** (bits - 1) - 1
    return max(-top - 1, -32767), top


def codes_of(wave: Floats, step: float, bits: int) -> Codes:
    """A wave in codes, clipped at the converter's ends."""
    low, high = ends(bits)
    return np.clip(np.rint(wave / step), low, high).astype(np.int16)


def current_channel(name: str, step_ma: float, bits: int) -> Channel:
    """Declaration of a range; its offset is declared zero."""
    low, high = ends(bits)
    return Channel(name, ChannelKind.CURRENT, "A", step_ma, 0.0, low, high)


def voltage_channel(step_kv: float, bits: int) -> Channel:
    """Declaration of the reference."""
    low, high = ends(bits)
    return Channel("UA", ChannelKind.VOLTAGE, "A", step_kv, 0.0, low, high)
