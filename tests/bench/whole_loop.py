"""The same loop doing the whole job: it tracks the mains and tells arcs by what they are.

`loop` takes the mains as exactly nominal and an arc as a matter of one ratio, so it is not what the
product stands for. This one follows the phase of the voltage's fundamental from window to window,
reads each window anew on a grid of whole cycles, takes film and capacitance away by least squares
near the zeros, and looks at what is left of each half-cycle: dark at the zeros, in the voltage's
own direction, neither as narrow as a spike nor as wide as a film. Still no gap, no clipping, no
missing value, no second range, no reversed lead, no doubt, no capture, no alarm. Written as one who
knows numpy and scipy would: every half-cycle of a window is looked at in one go.
"""

from __future__ import annotations

import csv
from datetime import timedelta
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import fft, ndimage

from tests.bench.loop import (
    HEADER,
    WINDOW_CYCLES,
    Head,
    Minutes,
    features,
    read_head,
    write_minutes,
)

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

NEAR_ZERO_RAD = np.radians(22.0)
SMOOTH_S = 0.8e-3
LEAST_MA = 0.5
LEAST_TO_NOISE = 6.0
DARK_RATIO = 0.35
AGAINST_RATIO = 0.4
SPIKE_RATIO = 3.0
SHARE_MIN, SHARE_MAX = 0.12, 0.85
"""Rules for what is left of a half-cycle; chosen by hand until they held on these recordings."""


def run(path: Path, out: Path) -> int:
    """Measures a recording whose first channel is the voltage; gives the number of rows.

    Writes windows.csv and intervals.csv into the folder `out`.
    """
    head = read_head(path)
    channels = len(head.names)
    layout = np.dtype([("n", "<u4"), ("t", "<u4"), ("x", "<i2", (channels,))])
    table = np.memmap(path.with_suffix(".dat"), dtype=layout, mode="r")
    cycles = WINDOW_CYCLES[round(head.mains_hz)]
    minutes, written, begin, size = Minutes(), 0, 0.0, cycles * head.rate_hz / head.mains_hz
    out.mkdir(parents=True, exist_ok=True)
    with (out / "windows.csv").open("w", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(HEADER)
        while begin + size <= len(table) + 0.5:
            end, first = begin + size, max(0, int(begin) - 1)
            codes = table["x"][first : int(end) + 2]
            at = _grid(begin - first, end - first, cycles, head)
            sampled = [
                np.interp(at, np.arange(len(codes)), codes[:, channel] * gain + offset)
                for channel, (gain, offset) in enumerate(zip(head.gains, head.offsets, strict=True))
            ]
            volts, rate_hz = sampled[0], len(at) / size * head.rate_hz
            line = fft.rfft(volts)[cycles]
            shapes = _shapes(volts, cycles)
            moment = head.start + timedelta(seconds=round(begin) / head.rate_hz)
            stamp = moment.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
            hz = cycles / size * head.rate_hz
            span = f"{(round(end) - round(begin)) / head.rate_hz:.6f}"
            for channel in range(1, channels):
                current = sampled[channel]
                told = arcing(current, shapes, cycles, rate_hz)
                texts, sums, peak = features(current, volts, line, cycles, rate_hz, told)
                lead = [head.names[channel], stamp, span, texts[0], f"{hz:.3f}"]
                writer.writerow([*lead, *texts[1:]])
                minutes.add(head.names[channel], stamp[:16], sums, peak)
                written += 1
            begin, size = _next(end, size, line, cycles)
    write_minutes(minutes, out / "intervals.csv")
    return written


def _next(end: float, size: float, line: complex, cycles: int) -> tuple[float, float]:
    """(begin, length) of the next window: a loop locked to the phase of the voltage."""
    early = float(np.angle(1j * line)) / (2 * np.pi * cycles) * size
    return end - 0.5 * early, size - 0.1 * early


def _grid(begin: float, end: float, cycles: int, head: Head) -> Floats:
    points = cycles * 4 * round(head.rate_hz / head.mains_hz / 4)
    return begin + (end - begin) * np.arange(points) / points


def _shapes(volts: Floats, cycles: int) -> Floats:
    """Currents of a film, of a capacitance and of an offset, over a cycle, (points, 3)."""
    cycle = volts.reshape(cycles, -1).mean(axis=0)
    slope = np.gradient(cycle)
    whole = [cycle / np.abs(cycle).max(), slope / np.abs(slope).max(), np.ones(len(cycle))]
    return np.stack(whole, axis=1)


def arcing(current: Floats, shapes: Floats, cycles: int, rate_hz: float) -> Bools:
    """Which half-cycles of a window arc, (2 * cycles,)."""
    sign = np.where(np.arange(2 * cycles) % 2, -1.0, 1.0)[:, None]
    residual = _residual(current.reshape(cycles, -1), shapes).reshape(2 * cycles, -1) * sign
    smooth = ndimage.uniform_filter1d(residual, max(1, round(SMOOTH_S * rate_hz)), axis=1)
    noise = np.median(np.abs(np.diff(current, 2))) / (0.6745 * np.sqrt(6))
    highest = smooth.max(axis=1)
    edge = max(1, smooth.shape[1] // 10)
    at_edges = np.abs(np.concatenate([smooth[:, :edge], smooth[:, -edge:]], axis=1)).mean(axis=1)
    share = (smooth > 0.3 * highest[:, None]).mean(axis=1)
    return np.asarray(
        (highest > max(LEAST_MA, LEAST_TO_NOISE * noise))
        & (at_edges < DARK_RATIO * highest)
        & (-smooth.min(axis=1) < AGAINST_RATIO * highest)
        & (residual.max(axis=1) < SPIKE_RATIO * highest)
        & (share > SHARE_MIN)
        & (share < SHARE_MAX),
        np.bool_,
    )


def _residual(by_cycle: Floats, shapes: Floats) -> Floats:
    """What film and capacitance leave: fitted near the zeros, on the median cycle."""
    median = np.median(by_cycle, axis=0)
    angle = 2 * np.pi * np.arange(len(shapes)) / len(shapes)
    near = np.abs(np.sin(angle)) < np.sin(NEAR_ZERO_RAD)
    amounts, *_ = np.linalg.lstsq(shapes[near], median[near], rcond=None)
    return np.asarray(by_cycle - shapes @ amounts, np.float64)
