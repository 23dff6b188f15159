"""A small coast in COMTRADE pairs: two insulators and a voltage, over a tick and a gap."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import numpy.typing as npt

from edge.recording import Writing, write_pair
from edge.recording.model import FileType, Revision
from edge.recording.writer import quantised
from edge.samples import SignalDescription
from tests.edge.measure.builders import Floats, dead_band, describe

RATE_HZ = 4_800.0
START = datetime(2026, 3, 7, 21, 19, 57, tzinfo=UTC)
"""Three seconds before a ten-minute tick."""

FIRST_S, GAP_S, SECOND_S = 4.3, 0.55, 3.1


def coast(seconds: float = FIRST_S + GAP_S + SECOND_S, seed: int = 3) -> Floats:
    """Columns: an insulator that wets and arcs, a dry one, the voltage; noise on all of them."""
    t = np.arange(round(RATE_HZ * seconds)) / RATE_HZ
    theta = 2 * np.pi * (49.93 * t + 0.004 * t * t) + 0.7
    noise = np.random.default_rng(seed).normal(0.0, 1.0, (len(t), 3))
    film = np.minimum(t, 2.0) * np.sin(theta)
    severe = 140 * dead_band(42)(theta) * ((t > 1.1) & (t < 1.9))
    sparse = 25 * dead_band(50)(theta) * ((t > 6) & (np.sin(theta) > 0) & (t * 50 % 5 < 1))
    wet = film + severe + sparse + 0.05 * np.cos(theta) + 0.01 * noise[:, 0]
    dry = 0.12 * np.cos(theta) + 0.004 * noise[:, 1]
    volts = 17 * (np.sin(theta) + 0.02 * np.sin(5 * theta)) + 0.01 * noise[:, 2]
    return np.stack([wet, dry, volts], axis=1)


def description() -> SignalDescription:
    return describe(RATE_HZ, currents=("A", "A"), voltages=("A",))


def write_coast(folder: Path) -> Path:
    """Two pairs with a gap between them, the tick within the first."""
    first, second = round(FIRST_S * RATE_HZ), round((FIRST_S + GAP_S) * RATE_HZ)
    codes, signal = encoded(coast(), description())
    write_codes(folder / "first.cfg", codes[:first], signal)
    write_codes(folder / "second.cfg", codes[second:], signal, counter=second)
    return folder


def encoded(
    physical: Floats, signal: SignalDescription, file_type: FileType = FileType.BINARY
) -> tuple[npt.NDArray[np.generic], SignalDescription]:
    """Codes of mA and kV, and the channels with the scale of those codes."""
    codes, channels = quantised(physical, signal.channels, file_type)
    return codes, SignalDescription(signal.rate_hz, signal.nominal_hz, channels)


def write_codes(
    path: Path,
    codes: npt.NDArray[np.generic],
    signal: SignalDescription,
    *,
    counter: int = 0,
    file_type: FileType = FileType.BINARY,
    revision: Revision = Revision.R2013,
    start: datetime = START,
) -> Path:
    """One pair that begins `counter` samples after `start`."""
    path.parent.mkdir(parents=True, exist_ok=True)
    start_ns = round(start.timestamp() * 1e6) * 1000 + round(counter / signal.rate_hz * 1e9)
    writing = Writing(
        station="salt-marsh",
        device="mast-3",
        signal=signal,
        start_utc_ns=start_ns,
        trigger_utc_ns=start_ns,
        revision=revision,
        file_type=file_type,
    )
    with path.open("wb") as configuration, path.with_suffix(".dat").open("wb") as rows:
        write_pair(configuration, rows, writing, codes)
    return path


def write(path: Path, physical: Floats, signal: SignalDescription) -> Path:
    """One pair of mA and kV from START on."""
    codes, scaled = encoded(physical, signal)
    return write_codes(path, codes, scaled)
