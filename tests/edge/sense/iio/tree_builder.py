"""A device tree as the kernel shows it, and a FIFO that stands for its character device."""

from __future__ import annotations

import os
import threading
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from edge.source_settings import IioPart

RATE_HZ = 4_800
PERIOD_NS = 1e9 / RATE_HZ
ELEMENTS: dict[str, tuple[int, str]] = {
    "in_voltage0": (0, "le:s16/16>>0"),
    "in_voltage1": (2, "be:u12/16>>4"),
    "in_voltage2": (1, "le:s24/32>>8"),
    "in_voltage3": (4, "le:s16/16>>0"),
    "in_timestamp": (5, "le:s64/64>>0"),
}
"""Name: (index, type). The order of the indexes is not that of the names."""

FILES = {
    "name": "tern-adc",
    "sampling_frequency": str(RATE_HZ),
    "sampling_frequency_available": "4800 9600",
    "current_timestamp_clock": "realtime",
    "in_voltage_scale": "0.25",
    "in_voltage1_scale": "2.5",
    "in_voltage1_offset": "-2048",
    "in_voltage3_scale": "1.0",
    "buffer/enable": "0",
    "buffer/length": "128",
    "buffer/watermark": "1",
    "trigger/current_trigger": "",
}

SCAN = np.dtype(
    {
        "names": ["v0", "v2", "v1", "stamp"],
        "formats": ["<i2", "<u4", ">u2", "<i8"],
        "offsets": [0, 4, 8, 16],
        "itemsize": 24,
    }
)
"""The scan of in_voltage0, 2, 1 and the stamp, laid out by hand."""


class Tree:
    """iio:device0 under `root`, in sys/bus/iio/devices and dev. end: of the test's side."""

    def __init__(self, root: Path, changed: Mapping[str, str | None] | None = None) -> None:
        self.root = root
        self.folder = root / "sys/bus/iio/devices/iio:device0"
        for name, (index, kind) in ELEMENTS.items():
            for ending, text in (("en", "0"), ("index", str(index)), ("type", kind)):
                self.put(f"scan_elements/{name}_{ending}", text)
        for name, text in {**FILES, **(changed or {})}.items():
            self.put(name, text)
        self.node = root / "dev/iio:device0"
        self.node.parent.mkdir(parents=True, exist_ok=True)
        os.mkfifo(self.node)
        self.end = os.open(self.node, os.O_RDWR)
        self._writer: threading.Thread | None = None

    def put(self, name: str, text: str | None) -> None:
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        if text is None:
            path.unlink()
        else:
            path.write_text(f"{text}\n")

    def text(self, name: str) -> str:
        return (self.folder / name).read_text().strip()

    def send(self, scans: bytes, then_close: bool = False) -> None:
        """In the background, for a pipe holds only so much."""

        def write() -> None:
            at = 0
            while at < len(scans):
                at += os.write(self.end, scans[at : at + 4093])
            if then_close:
                self.close()

        self._writer = threading.Thread(target=write, daemon=True)
        self._writer.start()

    def close(self) -> None:
        if self.end >= 0:
            end, self.end = self.end, -1
            os.close(end)


def scans(count: int, stamps_ns: np.ndarray | None = None) -> np.ndarray:
    """Ramps of codes, taken on time unless stamps are given."""
    table = np.zeros(count, SCAN)
    n = np.arange(count)
    table["v0"] = n % 1000 - 500
    table["v2"] = (n - 7).astype(np.uint32) << np.uint32(8)
    table["v1"] = (n % 4096) << 4
    table["stamp"] = on_time(count) if stamps_ns is None else stamps_ns
    return table


def on_time(count: int) -> np.ndarray:
    return (5_000_000_000 + np.arange(count) * PERIOD_NS).astype(np.int64)


def part(root: Path, **changed: object) -> IioPart:
    """Settings of the tree's converter; its order of channels is the installer's."""
    plain: dict[str, object] = {
        "device": "tern-adc",
        "rate_hz": RATE_HZ,
        "root": str(root),
        "channel": [
            {"name": "post", "element": "in_voltage2", "phase": "B", "ma_per_mv": -0.5},
            {"name": "UA", "element": "in_voltage1", "phase": "A", "kv_per_mv": 0.01},
            {"name": "rod", "element": "in_voltage0", "ma_per_mv": 2},
        ],
    }
    return IioPart.model_validate({**plain, **changed})
