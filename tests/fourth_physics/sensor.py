"""From the surface to codes: low-pass, droop, skew, offset, noise, converter."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, freqz, lfilter

from edge.samples import Channel, ChannelKind
from tests.families.labelled import Codes, Floats
from tests.fourth_physics.setting import Setting
from tests.fourth_physics.stage import Stage, harmonics

DROP_CODE = 32767
"""Highest code of a 16-bit converter; the lowest is never used (it marks absent samples)."""


def _taps(setting: Setting, fine_hz: float) -> tuple[Floats, Floats]:
    low, over = butter(setting.order, setting.low_pass_hz, fs=fine_hz)
    if setting.droop_hz:
        keep = float(np.exp(-2 * np.pi * setting.droop_hz / fine_hz))
        low = np.convolve(low, [(1 + keep) / 2, -(1 + keep) / 2])
        over = np.convolve(over, [1, -keep])
    return low, over


def passed(stage: Stage, wave: Floats) -> Floats:
    """A fine wave behind the current sensor's low-pass and droop, at the recording's samples."""
    out = lfilter(*_taps(stage.setting, stage.fine_hz), wave)
    return out[stage.preroll :: stage.factor]


def response(stage: Stage) -> complex:
    """The current sensor's gain for the fundamental."""
    low, over = _taps(stage.setting, stage.fine_hz)
    _, gain = freqz(low, over, worN=[stage.omega], fs=2 * np.pi * stage.fine_hz)
    return complex(gain[0])


def volts_seen(stage: Stage, rng: np.random.Generator) -> Floats:
    """The reference [kV]: another phase or distorted where the setting says so, skewed, filtered.

    Its low-pass is the current's of first order at 5 kHz; the fundamental's lag there is part of
    the skew that a calibration removes.
    """
    setting = stage.setting
    wave = stage.volts
    if setting.reference_shift_rad:
        turned = stage.theta + setting.reference_shift_rad
        wave = setting.crest_kv * (np.sin(turned) + harmonics(setting.distortion, turned, rng))
    if setting.reference_distortion:
        extra = harmonics(setting.reference_distortion, stage.theta, rng)
        wave = wave + setting.crest_kv * extra
    smooth = lfilter(*butter(1, 5000, fs=stage.fine_hz), wave)
    read = np.interp(stage.t_s[stage.preroll :: stage.factor] + setting.skew_s, stage.t_s, smooth)
    return read + rng.normal(0, 5e-4 * setting.crest_kv, len(read))


def volts_response(stage: Stage) -> complex:
    """The reference's gain for the fundamental of its own phase."""
    taps = butter(1, 5000, fs=stage.fine_hz)
    _, gain = freqz(*taps, worN=[stage.omega], fs=2 * np.pi * stage.fine_hz)
    return complex(gain[0]) * complex(np.exp(1j * stage.omega * stage.setting.skew_s))


def noise(stage: Stage, rng: np.random.Generator) -> Floats:
    """White noise, mains pick-up of any phase and the amplifier's offset [mA]."""
    setting = stage.setting
    theta = stage.theta[stage.preroll :: stage.factor]
    shift = rng.uniform(0, 6, 3)
    parts = zip((1, 3, 5), (0.8, 0.5, 0.33), shift, strict=True)
    hum = sum((w * np.sin(n * theta + s) for n, w, s in parts), np.zeros(len(theta)))
    white = rng.normal(0, setting.noise_ma, len(theta))
    return white + np.sqrt(2) * setting.pickup_ma * hum + setting.bias_ma


def full_code(bits: int) -> int:
    """Highest code; the lowest is its negative."""
    return min(2 ** (bits - 1) - 1, DROP_CODE)


def coded(wave: Floats, full: float, bits: int) -> tuple[Codes, float]:
    """Codes of a wave, held at the ends, and the gain of a code."""
    top = full_code(bits)
    gain = full / top
    return np.clip(np.rint(wave / gain), -top, top).astype(np.int16), gain


def channel(name: str, kind: ChannelKind, phase: str, gain: float, bits: int) -> Channel:
    """A channel as the source declares it."""
    top = float(full_code(bits))
    return Channel(name, kind, phase, gain, 0.0, -top, top)
