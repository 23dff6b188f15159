"""Recordings to measure speed with: one voltage and some currents, seeded, in closed form.

Every recording starts with a rising zero of the voltage and runs at exactly nominal frequency, so
that fixed windows of whole cycles lie on the mains without any tracking. That is what a simple loop
needs to be right, and it costs the product nothing to be given the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import numpy as np
import numpy.typing as npt

from edge.recording.writer import Writing, write_pair
from edge.samples import Channel, ChannelKind, SignalDescription

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int16]

START_UTC_NS = 1_798_761_900_000_000_000
"""2027-01-01T00:05:00Z: midway between two ten-minute ticks, so that ten minutes are two stretches
that can be measured apart."""

CREST_KV = 16.33
"""Crest of the phase-to-earth voltage of a 20 kV line."""

VOLTAGE_STEP_KV = 1e-3
CURRENT_STEP_MA = 0.01
CONVERTER_END = 32_767

NOISE_MA = 0.01
ARC_SHARE = 0.12
"""Of the half-cycles of an arcing channel; the others carry film current alone."""


class Surface(StrEnum):
    """What the insulators of a recording do."""

    QUIET = "quiet"  # capacitive current alone
    WET = "wet"  # a film: sinusoids of some mA that swell and fall
    ARCING = "arcing"  # films with dry-band arcs in some half-cycles


@dataclass(frozen=True, slots=True)
class Size:
    """How much is recorded. currents: channels beside the one voltage."""

    seconds: int
    currents: int = 4
    rate_hz: int = 10_000
    mains_hz: int = 50

    @property
    def half_samples(self) -> int:
        """Samples of one half-cycle; whole by choice of the rate."""
        samples, rest = divmod(self.rate_hz, 2 * self.mains_hz)
        assert rest == 0
        return samples


def description(size: Size) -> SignalDescription:
    """Channels as a data logger declares them: the voltage first."""
    end = float(CONVERTER_END)
    volts = Channel("U1", ChannelKind.VOLTAGE, "A", VOLTAGE_STEP_KV, 0.0, -end, end)
    amperes = tuple(
        Channel(f"I{number}", ChannelKind.CURRENT, "A", CURRENT_STEP_MA, 0.0, -end, end)
        for number in range(1, size.currents + 1)
    )
    return SignalDescription(float(size.rate_hz), float(size.mains_hz), (volts, *amperes))


def codes(surface: Surface, size: Size, seed: int) -> Codes:
    """Samples as a converter gives them, shape (n, 1 + currents)."""
    found = np.empty((size.seconds * size.rate_hz, 1 + size.currents), np.int16)
    for second in range(size.seconds):
        rows = slice(second * size.rate_hz, (second + 1) * size.rate_hz)
        found[rows] = _second(surface, size, np.random.default_rng([seed, second]), second)
    return found


def _second(surface: Surface, size: Size, rng: np.random.Generator, second: int) -> Codes:
    angle = 2 * np.pi * size.mains_hz * np.arange(size.rate_hz) / size.rate_hz
    volts = CREST_KV * (np.sin(angle) + 0.015 * np.sin(5 * angle + 0.4))
    columns = [volts / VOLTAGE_STEP_KV]
    for channel in range(size.currents):
        quiet = 0.08 * (1 + 0.2 * channel) * np.cos(angle)
        current = quiet + NOISE_MA * rng.standard_normal(size.rate_hz)
        if surface is not Surface.QUIET:
            swell = 1 + 0.3 * np.sin(0.05 * second + channel)
            film = (1.5 + channel) * swell * (np.sin(angle) + 0.02 * np.sin(3 * angle))
            current = current + film
        if surface is Surface.ARCING:
            current = current + _arcs(size, rng).ravel()
        columns.append(current / CURRENT_STEP_MA)
    return np.clip(np.rint(np.stack(columns, axis=1)), -CONVERTER_END, CONVERTER_END).astype(
        np.int16
    )


def _arcs(size: Size, rng: np.random.Generator) -> Floats:
    """A second of arcs, shape (half-cycles, samples): a step, then the sine until extinction."""
    halves = 2 * size.mains_hz
    angle = 180.0 * np.arange(size.half_samples) / size.half_samples
    ignition = rng.uniform(45.0, 75.0, (halves, 1))
    extinction = rng.uniform(125.0, 155.0, (halves, 1))
    crest_ma = np.where(
        rng.random((halves, 1)) < ARC_SHARE, rng.lognormal(3.2, 0.8, (halves, 1)), 0.0
    )
    burning = (angle >= ignition) & (angle <= extinction)
    sign = np.where(np.arange(halves) % 2, -1.0, 1.0)[:, None]
    return sign * crest_ma * np.sin(np.radians(angle)) * burning


def write(folder: Path, surface: Surface, size: Size, seed: int) -> Path:
    """A COMTRADE pair in `folder`; gives the path of its .cfg."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{surface.value}-{size.seconds}s-{size.currents}.cfg"
    writing = Writing(
        station="bench",
        device=surface.value,
        signal=description(size),
        start_utc_ns=START_UTC_NS,
        trigger_utc_ns=START_UTC_NS,
    )
    with path.open("wb") as configuration, path.with_suffix(".dat").open("wb") as rows:
        write_pair(configuration, rows, writing, codes(surface, size, seed))
    return path
