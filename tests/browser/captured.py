"""A capture whose current and voltage are known, as a unit would send it."""

from __future__ import annotations

import hashlib
import io

import numpy as np

from edge.recording.model import FileType
from edge.recording.writer import Writing, write_single_file
from edge.records import Capture
from edge.samples import Channel, ChannelKind, SignalDescription
from tests.gateway.build import START_US

RATE_HZ, HZ = 4_800.0, 50.0
SECONDS = 0.4


def captured(peak_ma: float, lead_deg: float) -> tuple[Capture, bytes]:
    """(manifest, file) of a sinusoidal current that leads the voltage."""
    at = np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ
    current_ma = peak_ma * np.sin(2 * np.pi * HZ * at + np.radians(lead_deg))
    voltage_kv = 19.0 * np.sqrt(2) * np.sin(2 * np.pi * HZ * at)
    gains = (peak_ma / 20_000, 19.0 * np.sqrt(2) / 20_000)
    signal = SignalDescription(
        RATE_HZ,
        HZ,
        (
            Channel("A1", ChannelKind.CURRENT, "A", gains[0], 0.0, -32_767, 32_767),
            Channel("UA", ChannelKind.VOLTAGE, "A", gains[1], 0.0, -32_767, 32_767),
        ),
    )
    codes = np.column_stack((current_ma / gains[0], voltage_kv / gains[1])).round().astype(np.int16)
    writing = Writing(
        station="A1",
        device="test",
        signal=signal,
        start_utc_ns=START_US * 1000,
        trigger_utc_ns=(START_US + 200_000) * 1000,
        file_type=FileType.BINARY,
        quality=0,
        header_text="a known current",
    )
    stream = io.BytesIO()
    write_single_file(stream, writing, codes, None)
    content = stream.getvalue()
    return (
        Capture(
            insulator="A1",
            trigger="test",
            trigger_us=START_US + 200_000,
            start_us=START_US,
            duration_us=round(SECONDS * 1e6),
            content_sha=hashlib.sha256(content).hexdigest(),
            size_bytes=len(content),
            parts=-(-len(content) // 24_000),
        ),
        content,
    )
