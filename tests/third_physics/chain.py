"""From current at the collector to codes: low-pass, droop, noise, ranges, losses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import signal

from edge.samples import Channel, ChannelKind, SignalDescription
from tests.families.labelled import MISSING_CODE, Bools, Codes, Floats
from tests.third_physics.course import Flow, sample_count
from tests.third_physics.scene import Frame, Scene, Sensor, Span

RANGES_MA = (5.0, 10.0, 25.0, 60.0, 250.0, 1000.0)
ROOM = 1.3
"""Of the chosen range over all but a thousandth of the samples."""

CLAMP = 1.2
"""Of the coarsest given range: the input's protection holds what is beyond off the burden."""

PICK_UP_MA = 0.02
"""What an open lead still picks up."""

REFERENCE_HZ = 4000.0
REFERENCE_BITS = 14


@dataclass(frozen=True, slots=True, eq=False)
class Delivered:
    """Codes of all channels, and what of them is absent or at the converter's end.

    arc_ma: the arc as it stands in the samples. spread_ma: noise and step together.
    """

    description: SignalDescription
    samples: Codes
    missing: Bools | None
    gaps: tuple[tuple[int, int], ...]
    absent: Bools
    at_end: Bools
    arc_ma: Floats
    spread_ma: float


def filters(sensor: Sensor, inner_hz: float) -> Floats:
    """Second-order sections of the current's path."""
    low = signal.butter(2, sensor.low_pass_hz, fs=inner_hz, output="sos")
    if not sensor.droop_hz:
        return np.asarray(low)
    high = signal.butter(1, sensor.droop_hz, "high", fs=inner_hz, output="sos")
    return np.concatenate((low, high))


def response(sensor: Sensor, inner_hz: float, hertz: float) -> complex:
    """Of the current's path against the reference's, at one frequency."""
    path = signal.sosfreqz(filters(sensor, inner_hz), [hertz], fs=inner_hz)[1][0]
    other = signal.butter(1, REFERENCE_HZ, fs=inner_hz, output="sos")
    beside = signal.sosfreqz(other, [hertz], fs=inner_hz)[1][0]
    return complex(sensor.sign * path / beside * np.exp(2j * np.pi * hertz * sensor.skew_s))


def rows(frame: Frame, span: Span) -> slice:
    """Samples of a span."""
    count = sample_count(frame)
    first, end = (int(np.clip(round(at * frame.rate_hz), 0, count)) for at in span)
    return slice(first, end)


def keyed_ma(frame: Frame, scene: Scene) -> Floats:
    """Radio noise as it comes through behind the low-pass."""
    wave = np.zeros(sample_count(frame))
    for first, end, level, hertz in scene.bursts:
        span = rows(frame, (first, end))
        number = np.arange(span.stop - span.start)
        if hertz:
            wave[span] += level * np.cos(2 * np.pi * hertz / frame.rate_hz * number)
        else:
            wave[span] += level * frame.rng.normal(size=len(number))
    return wave


def seen(flow: Flow, wave: Floats, count: int) -> Floats:
    """The steps at which samples are taken."""
    return np.asarray(wave[flow.lead : flow.lead + count * flow.factor : flow.factor])


def analogue(frame: Frame, scene: Scene, flow: Flow) -> tuple[Floats, Floats, Floats]:
    """Current [mA], the arc in it, and the reference [kV] at the samples, before conversion."""
    sensor, count = scene.sensor, sample_count(frame)
    sections = filters(sensor, flow.inner_hz)
    state = signal.sosfilt_zi(sections) * 0.0
    most = CLAMP * sensor.full_scales_ma[-1] if sensor.full_scales_ma else np.inf
    at_burden = np.clip(flow.current_ma, -most, most)
    current = signal.sosfilt(sections, at_burden, zi=state)[0]
    arc = signal.sosfilt(sections, flow.arc_ma, zi=state)[0]
    wave = sensor.sign * seen(flow, current, count)
    wave[rows(frame, sensor.lead_off)] = 0.0
    span = rows(frame, sensor.lead_off)
    wave[span] += PICK_UP_MA * np.sin(seen(flow, flow.phase, count)[span] + 1.0)
    wave += sensor.offset_ma + keyed_ma(frame, scene)
    wave += sensor.noise_ma * frame.rng.normal(size=count)
    if not frame.with_voltage:
        return wave, seen(flow, arc, count), np.zeros(0)
    held = flow.voltage_kv
    if sensor.bent_reference:
        bend = sensor.bent_reference * scene.crest_kv
        held = held + bend * np.sin(3 * flow.phase + 0.7) + 0.6 * bend * np.sin(5 * flow.phase)
    section = signal.butter(1, REFERENCE_HZ, fs=flow.inner_hz, output="sos")
    reference = signal.sosfilt(section, held)
    at = flow.time_s[flow.lead] + np.arange(count) / frame.rate_hz - sensor.skew_s
    return wave, seen(flow, arc, count), np.interp(at, flow.time_s, reference)


def codes_of(wave: Floats, step: float, bits: int) -> Codes:
    """Rounded and clipped."""
    top = 2 ** (bits - 1) - 1
    return np.clip(np.rint(wave / step), -top, top).astype(np.int16)


def _channel(name: str, kind: ChannelKind, step: float, bits: int) -> Channel:
    top = 2.0 ** (bits - 1) - 1
    return Channel(name, kind, "A", step, 0.0, -top, top)


def full_scales(sensor: Sensor, wave: Floats) -> tuple[float, ...]:
    """The ranges: as given, or the first that holds all but the rarest samples."""
    if sensor.full_scales_ma is not None:
        return sensor.full_scales_ma
    crest = ROOM * float(np.quantile(np.abs(wave), 0.999))
    return (next((r for r in RANGES_MA if r >= crest), RANGES_MA[-1]),)


def delivered(frame: Frame, scene: Scene, flow: Flow) -> Delivered:
    """What the source of samples hands over."""
    sensor = scene.sensor
    wave, arc, reference = analogue(frame, scene, flow)
    top = 2 ** (sensor.bits - 1) - 1
    steps = [scale / top for scale in full_scales(sensor, wave)]
    columns, channels = [], []
    for number, step in enumerate(steps):
        codes = codes_of(wave, step, sensor.bits)
        codes[rows(frame, sensor.dead)] = 0
        columns.append(codes)
        channels.append(_channel(f"I{number + 1}", ChannelKind.CURRENT, step, sensor.bits))
    at_end = np.abs(columns[-1]) >= top
    if frame.with_voltage:
        step = 2.2 * scene.crest_kv / 2 ** (REFERENCE_BITS - 1)
        noisy = reference + 1e-3 * scene.crest_kv * frame.rng.normal(size=len(reference))
        columns.append(codes_of(noisy, step, REFERENCE_BITS))
        channels.append(_channel("U", ChannelKind.VOLTAGE, step, REFERENCE_BITS))
    samples = np.stack(columns, axis=1)
    missing, absent, gaps = _losses(frame, sensor, samples, len(steps))
    spread = float(np.hypot(sensor.noise_ma, steps[-1] / np.sqrt(12)))
    signals = SignalDescription(frame.rate_hz, frame.mains_hz, tuple(channels))
    return Delivered(signals, samples, missing, gaps, absent, at_end, arc, spread)


def _losses(
    frame: Frame, sensor: Sensor, samples: Codes, currents: int
) -> tuple[Bools | None, Bools, tuple[tuple[int, int], ...]]:
    """Marked samples, all absent ones, and the rows that never came."""
    absent: npt.NDArray[np.bool_] = np.zeros(len(samples), dtype=bool)
    spans = [rows(frame, span) for span in sensor.gaps]
    gaps = tuple((span.start, span.stop) for span in spans if span.stop > span.start)
    for first, end in gaps:
        absent[first:end] = True
    if not sensor.losses:
        return None, absent, gaps
    missing = np.zeros(samples.shape, dtype=bool)
    for span in sensor.losses:
        missing[rows(frame, span), :currents] = True
    samples[missing] = MISSING_CODE
    return missing, absent | missing.any(1), gaps
