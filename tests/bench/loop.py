"""What a practitioner would write for the same job: numpy and scipy, window by window.

It knows less than the product: the mains is taken as exactly nominal, nothing is tracked, no gap,
clipping, missing value or second range is dealt with, an arc is told by one ratio. What it does, it
does as one would who knows numpy: the file is mapped, each window is one vector, half-cycles are
the rows of a matrix, the voltage is transformed once for all channels. It writes the same columns,
and minute rows beside them. It shares no code with the product.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import fft, signal

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Bools = npt.NDArray[np.bool_]

WINDOW_CYCLES = {50: 10, 60: 12}
LEVELS_MA = np.array([5.0, 20.0, 50.0, 100.0, 200.0])
ORDER_MAX = 40
WET_PEAK_MA = 0.3

ARC_PEAK_MIN_MA = 3.0
ARC_QUIET_SHARE = 0.25
"""A half-cycle whose |i| is below a sixth of its peak for so much of its time is called an arc."""

HEADER = (
    *("insulator", "start", "seconds", "state", "frequency_hz", "halfcycles"),
    *("arcing_halfcycles", "arcing_positive", "arcing_negative", "peak_ma", "rms_ma", "mean_ma"),
    *("h1_ma", "h2_ratio", "h3_ratio", "h3_deg", "h5_ratio", "h5_h3", "thd"),
    *("in_phase_ma", "quadrature_ma", "charge_c", "arcing_charge_c"),
    *("pulses_5ma", "pulses_20ma", "pulses_50ma", "pulses_100ma", "pulses_200ma"),
    *("arc_pulses_5ma", "arc_pulses_20ma", "arc_pulses_50ma", "arc_pulses_100ma"),
    "arc_pulses_200ma",
)

SUMS = (
    *("windows", "arcing_halfcycles", "charge_positive_c", "charge_negative_c"),
    *("i2t_positive_a2s", "i2t_negative_a2s", "energy_positive_j", "energy_negative_j"),
    *("arcing_charge_positive_c", "arcing_charge_negative_c", "arcing_i2t_positive_a2s"),
    *("arcing_i2t_negative_a2s", "arcing_energy_positive_j", "arcing_energy_negative_j"),
)


@dataclass(frozen=True, slots=True)
class Head:
    """What the loop takes from a .cfg of revision 2013, BINARY: names, scales, rate, start."""

    names: tuple[str, ...]
    gains: Floats
    offsets: Floats
    mains_hz: float
    rate_hz: float
    start: datetime


@dataclass(slots=True)
class Minutes:
    """Sums of each channel over each minute, in the order of SUMS, and the highest current."""

    sums: dict[tuple[str, str], Floats] = field(default_factory=dict)
    peaks_ma: dict[tuple[str, str], float] = field(default_factory=dict)

    def add(self, channel: str, minute: str, sums: Floats, peak_ma: float) -> None:
        key = (channel, minute)
        self.sums[key] = self.sums.get(key, 0.0) + sums
        self.peaks_ma[key] = max(self.peaks_ma.get(key, 0.0), peak_ma)


def read_head(path: Path) -> Head:
    """The fields of a .cfg by their line numbers."""
    lines = path.read_text().splitlines()
    count = int(lines[1].split(",")[0])
    rows = [line.split(",") for line in lines[2 : 2 + count]]
    start = datetime.strptime(lines[5 + count], "%d/%m/%Y,%H:%M:%S.%f").replace(tzinfo=UTC)
    return Head(
        names=tuple(row[1] for row in rows),
        gains=np.array([float(row[5]) for row in rows]),
        offsets=np.array([float(row[6]) for row in rows]),
        mains_hz=float(lines[2 + count]),
        rate_hz=float(lines[4 + count].split(",")[0]),
        start=start,
    )


def run(path: Path, out: Path) -> int:
    """Measures a recording whose first channel is the voltage; gives the number of rows.

    Writes windows.csv and intervals.csv into the folder `out`.
    """
    head = read_head(path)
    channels = len(head.names)
    layout = np.dtype([("n", "<u4"), ("t", "<u4"), ("x", "<i2", (channels,))])
    table = np.memmap(path.with_suffix(".dat"), dtype=layout, mode="r")
    cycles = WINDOW_CYCLES[round(head.mains_hz)]
    size = round(cycles * head.rate_hz / head.mains_hz)
    minutes, written, before = Minutes(), 0, None
    out.mkdir(parents=True, exist_ok=True)
    with (out / "windows.csv").open("w", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(HEADER)
        for start in range(0, len(table) - size + 1, size):
            codes = table["x"][start : start + size]
            volts = codes[:, 0] * head.gains[0] + head.offsets[0]
            line = fft.rfft(volts)[cycles]
            hz, before = _frequency(head, before, line, size), line
            at = head.start + timedelta(seconds=start / head.rate_hz)
            stamp = at.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
            for channel in range(1, channels):
                current = codes[:, channel] * head.gains[channel] + head.offsets[channel]
                texts, sums, peak_ma = features(current, volts, line, cycles, head.rate_hz)
                lead = [head.names[channel], stamp, f"{size / head.rate_hz:.6f}", texts[0]]
                writer.writerow([*lead, f"{hz:.3f}", *texts[1:]])
                minutes.add(head.names[channel], stamp[:16], sums, peak_ma)
                written += 1
    write_minutes(minutes, out / "intervals.csv")
    return written


def _frequency(head: Head, before: Any, line: Any, size: int) -> float:
    """From the turn of the voltage's fundamental between two windows."""
    if before is None:
        return head.mains_hz
    turn = float(np.angle(line * np.conj(before)))
    return float(head.mains_hz + turn / (2 * np.pi) * head.rate_hz / size)


def write_minutes(minutes: Minutes, path: Path) -> None:
    with path.open("w", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(["insulator", "start", "peak_ma", *SUMS])
        for (name, minute), sums in sorted(minutes.sums.items(), key=lambda item: item[0][::-1]):
            peak = f"{minutes.peaks_ma[name, minute]:.3f}"
            writer.writerow([name, f"{minute}:00Z", peak, *(f"{one:.12g}" for one in sums)])


def features(
    current: Floats,
    volts: Floats,
    volts_line: complex,
    cycles: int,
    rate_hz: float,
    told: Bools | None = None,
) -> tuple[list[str], Floats, float]:
    """One window of one channel: state and columns as text in the order of the header, its part
    of the minute's sums, and its highest current [mA].

    told: which half-cycles arc, where it has been told in another way.
    """
    size, halves = len(current), 2 * cycles
    absolute = np.abs(current)
    by_half = absolute.reshape(halves, -1)
    peaks = _half_peaks(absolute, by_half.shape[1], halves)
    arcing = _arcing(by_half, peaks) if told is None else told
    over = peaks[:, None] > LEVELS_MA
    lines = fft.rfft(current) * (np.sqrt(2) / size)
    h1, ratios, thd, h3_deg = _harmonics(lines, cycles)
    turned = lines[cycles] * np.conj(volts_line) / abs(volts_line)
    counts = [int(arcing.sum()), int(arcing[::2].sum()), int(arcing[1::2].sum())]
    sums = _sums(current, absolute, volts, arcing, rate_hz)
    peak_ma = float(absolute.max())
    texts = [
        _state(counts, cycles, turned.real),
        str(halves),
        *(str(count) for count in counts),
        f"{peak_ma:.3f}",
        f"{np.sqrt(np.mean(current * current)):.6f}",
        f"{current.mean():.6f}",
        f"{h1:.6f}",
        f"{ratios[1]:.6f}",
        f"{ratios[2]:.6f}",
        f"{h3_deg:.2f}",
        f"{ratios[4]:.6f}",
        f"{ratios[4] / ratios[2]:.6f}",
        f"{thd:.6f}",
        f"{turned.real:.6f}",
        f"{turned.imag:.6f}",
        f"{sums[2] + sums[3]:.9f}",
        f"{sums[8] + sums[9]:.9f}",
        *(str(count) for count in over.sum(axis=0)),
        *(str(count) for count in over[arcing].sum(axis=0)),
    ]
    return texts, sums, peak_ma


def _half_peaks(absolute: Floats, half: int, count: int) -> Floats:
    """Highest pulse of each half-cycle [mA]; 0 where none passes the lowest level."""
    found, held = signal.find_peaks(absolute, height=LEVELS_MA[0])
    peaks = np.zeros(count)
    np.maximum.at(peaks, found // half, held["peak_heights"])
    return peaks


def _arcing(by_half: Floats, peaks: Floats) -> Bools:
    """Whether each half-cycle looks like a dry-band arc: high, and quiet for much of its time."""
    highest = np.maximum(peaks, by_half.max(axis=1))
    quiet = (by_half < highest[:, None] / 6).mean(axis=1)
    return np.asarray((highest > ARC_PEAK_MIN_MA) & (quiet > ARC_QUIET_SHARE), np.bool_)


def _sums(
    current: Floats, absolute: Floats, volts: Floats, arcing: Bools, rate_hz: float
) -> Floats:
    """What a window adds to its minute, in the order of SUMS: A s, A2 s and J by polarity."""
    positive, step = current > 0, 1.0 / rate_hz
    amounts = (
        absolute * (1e-3 * step),
        current * current * (1e-6 * step),
        current * volts * step,
    )
    total: list[float] = []
    arcs: list[float] = []
    for amount in amounts:
        above = float(amount[positive].sum())
        total += [above, float(amount.sum()) - above]
        by_half = amount.reshape(len(arcing), -1).sum(axis=1)
        arcs += [float(by_half[::2][arcing[::2]].sum()), float(by_half[1::2][arcing[1::2]].sum())]
    return np.array([1.0, float(arcing.sum()), *total, *arcs])


def _harmonics(lines: Complexes, cycles: int) -> tuple[float, Floats, float, float]:
    """(fundamental [mA], ratios of the orders from 1, distortion, phase of the third [deg])."""
    power = np.abs(lines[: (ORDER_MAX + 1) * cycles]) ** 2
    at = np.arange(1, ORDER_MAX + 1) * cycles
    groups = np.sqrt(power[at - 1] + power[at] + power[at + 1])
    ratios = groups / groups[0]
    third = 1j * lines[3 * cycles] * np.conj(1j * lines[cycles]) ** 3
    thd = float(np.sqrt(np.sum(ratios[1:] ** 2)))
    return float(groups[0]), ratios, thd, float(np.degrees(np.angle(third)))


def _state(counts: list[int], cycles: int, in_phase_ma: float) -> str:
    if 2 * max(counts[1:]) >= cycles:
        return "arcing-dense"
    if counts[0]:
        return "arcing-sparse"
    return "wet" if in_phase_ma * np.sqrt(2) > WET_PEAK_MA else "dry"
