"""A captured waveform for a page: samples about its trigger, harmonics, words. Pure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edge.recording import RecordingError, feed, read_single_file
from edge.records import Capture
from edge.samples import ChannelKind, SampleBlock
from gateway.trends.columns import Floats

ORDERS = (1, 2, 3, 5, 7, 9)
BLOCK_SAMPLES = 1 << 20
LARGEST_BYTES = 8_000_000
"""A larger capture is given as a file only."""

CYCLES = (3, 6, 10)
"""Lengths that the page offers."""


@dataclass(frozen=True, slots=True)
class Harmonic:
    """r.m.s. [mA], share of the fundamental, and phase [deg]: of the fundamental before the
    voltage's, of a harmonic against that many times the fundamental's; None where unknown."""

    order: int
    rms_ma: float
    share: float
    phase_deg: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Wave:
    """Samples from `from_ms` to `to_ms` about the trigger. voltage_kv: None without a reference."""

    from_ms: float
    to_ms: float
    step_ms: float
    current_ma: Floats
    voltage_kv: Floats | None
    harmonics: tuple[Harmonic, ...]
    words: str
    nominal_hz: float


def wave_of(content: bytes, capture: Capture, cycles: int) -> Wave:
    """The waveform of a capture's file. Raises RecordingError where it cannot be read."""
    if len(content) > LARGEST_BYTES:
        raise RecordingError(
            capture.content_sha[:8], f"{len(content)} bytes", f"{LARGEST_BYTES}", "take the file"
        )
    record = read_single_file(content, name=capture.content_sha[:8])
    description = record.description
    blocks = [
        one for one in feed([record], block_samples=BLOCK_SAMPLES) if isinstance(one, SampleBlock)
    ]
    if not blocks:
        raise RecordingError(capture.content_sha[:8], "no samples", "some", "take the file")
    raw = np.concatenate([one.samples for one in blocks]).astype(np.float64)
    missing = [one.missing for one in blocks]
    scaled = np.column_stack(
        [raw[:, k] * one.gain + one.offset for k, one in enumerate(description.channels)]
    )
    if all(one is not None for one in missing):
        scaled[np.concatenate([one for one in missing if one is not None])] = np.nan
    kinds = [one.kind for one in description.channels]
    current = scaled[:, kinds.index(ChannelKind.CURRENT)]
    voltage = scaled[:, kinds.index(ChannelKind.VOLTAGE)] if ChannelKind.VOLTAGE in kinds else None
    trigger = (capture.trigger_us - capture.start_us) * 1e-6 * description.rate_hz
    return _around(current, voltage, trigger, cycles, description.rate_hz, description.nominal_hz)


def _around(
    current: Floats, voltage: Floats | None, trigger: float, cycles: int, rate: float, hz: float
) -> Wave:
    count = min(round(cycles * rate / hz), current.shape[0])
    first = int(np.clip(round(trigger - count / 3), 0, current.shape[0] - count))
    held = current[first : first + count]
    volts = None if voltage is None else voltage[first : first + count]
    step_ms = 1000.0 / rate
    from_ms = (first - trigger) * step_ms
    found = harmonics(held, volts, rate, hz)
    return Wave(
        from_ms, from_ms + count * step_ms, step_ms, held, volts, found, shape_words(found), hz
    )


def harmonics(
    current: Floats, voltage: Floats | None, rate: float, hz: float
) -> tuple[Harmonic, ...]:
    """By projection on whole cycles of the nominal frequency: for the eye, not for the history,
    whose harmonics are on the mains clock."""
    whole = int(current.shape[0] * hz / rate)
    count = round(whole * rate / hz)
    if not whole or not np.isfinite(current[:count]).all():
        return ()
    turn = 2j * np.pi * hz / rate * np.arange(count)
    # Of a cosine A cos(k w t + a) the projection is A/2 e^(ja); as sines both lag by 90 degrees.
    parts = {k: np.mean(current[:count] * np.exp(-k * turn)) * 2 * 1j for k in ORDERS}
    fundamental = parts[1]
    reference = None
    if voltage is not None and np.isfinite(voltage[:count]).all():
        reference = np.mean(voltage[:count] * np.exp(-turn)) * 2 * 1j
    base = float(np.abs(fundamental))
    return tuple(
        Harmonic(
            k,
            float(np.abs(part)) / np.sqrt(2),
            float(np.abs(part)) / base if base else 0.0,
            _phase(k, part, fundamental, reference),
        )
        for k, part in parts.items()
    )


def _phase(
    order: int, part: complex, fundamental: complex, reference: complex | None
) -> float | None:
    if not abs(part) or not abs(fundamental):
        return None
    if order == 1:
        return None if reference is None or not abs(reference) else _deg(part / reference)
    return _deg(part / (fundamental / abs(fundamental)) ** order)


def _deg(found: complex) -> float:
    return float(np.degrees(np.angle(found)))


def _lead(phase_deg: float) -> str:
    way = "leads" if phase_deg >= 0 else "lags"
    return f"; the fundamental {way} the voltage by {abs(phase_deg):.0f}°"


def shape_words(found: tuple[Harmonic, ...]) -> str:
    """The shape in a sentence; what it means is for the measure, which judges every half-cycle."""
    by_order = {one.order: one for one in found}
    if not by_order:
        return "the shape cannot be told: samples are missing"
    phase = by_order[1].phase_deg
    lead = "" if phase is None else _lead(phase)
    third = by_order[3].share
    even = ", the two polarities differ" if by_order[2].share > 0.1 else ""
    if third < 0.05:
        return f"nearly sinusoidal{even}{lead}"
    peaky = abs(by_order[3].phase_deg or 0.0) > 90
    form = "peaked, with dead bands about the zeros" if peaky else "flattened at the top"
    return f"{form}: third harmonic {third:.0%} of the fundamental{even}{lead}"
