"""The sensor: low-pass, droop, noise, skew, and a converter of 10 to 16 bits.

All of it is what a clamp, shunt or collector with an amplifier does before anyone can compute; a
step of the arc current reaches the samples as a rise of 0.1 to 0.4 ms.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

import numpy as np

from tests.families.labelled import Codes, Floats
from tests.families.mains import Mains

LOWPASS_HZ = (800.0, 2_000.0)
"""Range of the low-pass corner; 1 kHz is a published choice for this purpose (facts 1.3)."""


@dataclass(frozen=True, slots=True)
class Sensor:
    """One range of a current sensor.

    full_scale_ma: crest that the converter's end stands for. order: of the low-pass (1 or 2).
    droop_hz: corner of the high-pass of a sensor that cannot pass direct current, 0 for none.
    skew_s: delay against the voltage channel. sign: -1 where the lead is reversed.
    gain: true gain to believed gain.
    """

    full_scale_ma: float
    bits: int
    lowpass_hz: float
    order: int
    droop_hz: float
    noise_ua: float
    skew_s: float
    sign: int = 1
    gain: float = 1.0

    @property
    def step_ma(self) -> float:
        """Current of one code [mA]."""
        return self.full_scale_ma / float(2 ** (self.bits - 1))

    @property
    def end_code(self) -> int:
        """Highest code; the lowest is its negative."""
        return int(2 ** (self.bits - 1)) - 1

    @property
    def sigma_ma(self) -> float:
        """Standard deviation of a sample by noise and rounding [mA]."""
        return float(np.hypot(self.noise_ua / 1000, self.step_ma / np.sqrt(12)))


def make_sensor(
    rng: np.random.Generator,
    full_scale_ma: float,
    bits: tuple[int, int] = (10, 16),
    noise_ua: tuple[float, float] = (5.0, 50.0),
    droop: bool = True,
) -> Sensor:
    """A sensor drawn from the ranges that must be lived with.

    A converter too coarse for its range to hold a step of 0.1 mA gets more bits, up to the last of
    `bits`: nobody would build the other.
    """
    width = int(rng.integers(bits[0], bits[1] + 1))
    while width < bits[1] and full_scale_ma / 2 ** (width - 1) > COARSEST_STEP_MA:
        width += 1
    return Sensor(
        full_scale_ma,
        width,
        float(rng.uniform(*LOWPASS_HZ)),
        int(rng.integers(1, 3)),
        float(rng.choice([0.0, 0.05, 0.5, 2.0])) if droop else 0.0,
        float(np.exp(rng.uniform(*np.log(noise_ua)))),
        float(rng.uniform(-50e-6, 50e-6)),
    )


COARSEST_STEP_MA = 0.1


def filtered(mains: Mains, sensor: Sensor, current_ma: Floats) -> Floats:
    """The current [mA] at the converter's input, one number a sample, without noise.

    In the frequency domain over the whole recording; what comes before the first sample is long
    enough for the filters to forget that the ends are joined.
    """
    size = _easy_size(len(current_ma))
    spectrum = np.fft.rfft(current_ma, size)
    hertz = np.arange(len(spectrum)) * (mains.inner_hz / size)
    s = 1j * hertz / sensor.lowpass_hz
    low = 1 + s if sensor.order == 1 else 1 + np.sqrt(2) * s + s * s
    response = np.exp((-2j * pi * sensor.skew_s) * hertz) / low
    if sensor.droop_hz > 0:
        response *= hertz / (hertz - 1j * sensor.droop_hz)
    wave = np.fft.irfft(spectrum * response, size)
    return wave[mains.lead : mains.lead + mains.count * mains.step : mains.step]


def _easy_size(count: int) -> int:
    """The smallest 2**a * (1, 3, 5, 9 or 15) that holds `count`: quick to transform."""
    sizes = [odd << max((count - 1) // odd, 1).bit_length() for odd in (1, 3, 5, 9, 15)]
    return min(size for size in sizes if size >= count)


def converted(
    rng: np.random.Generator, sensor: Sensor, analogue_ma: Floats
) -> tuple[Codes, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    """Codes of the converter, and where it stood at its end."""
    noise = rng.standard_normal(len(analogue_ma), dtype=np.float32) * (sensor.noise_ua / 1000)
    wanted = np.rint((analogue_ma * (sensor.sign * sensor.gain) + noise) / sensor.step_ma)
    end = sensor.end_code
    codes = np.clip(wanted, -end, end).astype(np.int16)
    return codes, np.abs(codes) >= end
