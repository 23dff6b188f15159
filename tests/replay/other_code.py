"""A recorder's writer that is not ours: plain Python, rows packed one by one, habits of its own.

The signal is closed-form: three insulators under one voltage. Everything here is written from what
open readers of the format show; nothing of `edge` is used.
"""

from __future__ import annotations

import functools
import math
import struct
from dataclasses import dataclass
from pathlib import Path

RATE_HZ = 6_000
MAINS_HZ = 50.0
SECONDS = 1.3
CREST_KV = 18.0
DRY_MA, FILM_MA, ARC_MA = 0.15, 12.0, 30.0
RATIO = 10.0
"""Currents are declared on the secondary side of a transformer of 10 to 1, where a format can."""

IGNITION_RAD, EXTINCTION_RAD = 0.9, 2.75


@functools.cache
def signal_at(time_s: float) -> tuple[float, float, float, float]:
    """A dry insulator, a wet one, one with a dry-band arc in every half-cycle; the voltage [kV]."""
    angle = 2 * math.pi * MAINS_HZ * time_s + 0.3
    within = angle % math.pi
    sign = 1.0 if math.sin(angle) >= 0 else -1.0
    dry = DRY_MA * math.cos(angle)
    burning = IGNITION_RAD < within < EXTINCTION_RAD
    arc = sign * ARC_MA * (math.sin(within) - 0.15) if burning else 0.0
    return dry, dry + FILM_MA * math.sin(angle), dry + arc, CREST_KV * math.sin(angle)


KV_STEP = 0.002
CHANNELS = ("Pin insulator 1", "Post 2", "Post 3")
DIGITAL = 3
"""Status channels, which a reader must step over."""


@dataclass(frozen=True, slots=True)
class Layout:
    """One of the formats. revision: "" where none is written, as in 1991.

    code: struct letter of a value, "" for text. unit_ma: mA of the declared unit; step: the unit's
    part that a code stands for. secondary: declared behind a transformer of 10 to 1.
    shift: added to every code. single: one file of sections. end: of the lines.
    """

    name: str
    revision: str
    kind: str
    code: str
    unit: str
    unit_ma: float
    step: float
    secondary: bool = False
    shift: int = 0
    single: bool = False
    end: str = "\r\n"

    def codes(self, signal: tuple[float, ...]) -> list[float]:
        """A row's values as codes."""
        ratio = RATIO if self.secondary else 1.0
        exact = [ma / ratio / self.unit_ma / self.step for ma in signal[:3]]
        exact.append(signal[3] / KV_STEP)
        if self.code == "f":
            return exact
        return [float(round(each) + self.shift) for each in exact]


LAYOUTS = (
    Layout("ascii-1991", "", "ascii", "", "mA", 1.0, 0.002),
    Layout("binary-1991", "", "BINARY", "h", "mA", 1.0, 0.004, shift=16_000),
    Layout("ascii-1999", "1999", "ASCII", "", "uA", 1e-3, 2.0, end="\n"),
    Layout("binary-1999", "1999", "BINARY", "h", "A", 1e3, 2e-7, secondary=True),
    Layout("binary-2013", "2013", "binary", "h", "mA", 1.0, 0.0015),
    Layout("binary32-2013", "2013", "BINARY32", "i", "A", 1e3, 1e-9),
    Layout("float32-2013", "2013", "FLOAT32", "f", "mA", 1.0, 1.0, secondary=True),
    Layout("single-binary-2013", "2013", "BINARY", "h", "mA", 1.0, 0.0015, single=True),
    Layout("single-ascii-2013", "2013", "ASCII", "", "mA", 1.0, 0.002, single=True, end="\n"),
)
"""Codes of binary 1991 are shifted above 0, because -1 means missing there."""


def configuration(layout: Layout) -> bytes:
    """The text of the configuration."""
    count, old = round(SECONDS * RATE_HZ), not layout.revision
    lines = ["Headland West,recorder 7" + ("" if old else f",{layout.revision}")]
    lines.append(f"{4 + DIGITAL},4A,{DIGITAL}D")
    lines += [_analogue(layout, n) for n in range(1, 5)]
    lines += [f"{n},status {n}" + (",0" if old else ",,,0") for n in range(1, DIGITAL + 1)]
    date = "11/24/26" if old else "24/11/2026"
    lines += [f"{MAINS_HZ:.1f}", "1", f"{RATE_HZ},{count}"]
    lines += [f"{date},21:15:00.250000", f"{date},21:15:00.500000", layout.kind]
    lines += [] if old else ["1"]
    lines += ["0,0", "4,3"] if layout.revision == "2013" else []
    return (layout.end.join(lines) + layout.end).encode("ascii")


def _analogue(layout: Layout, number: int) -> str:
    is_current = number <= len(CHANNELS)
    name = f" {CHANNELS[number - 1]} " if is_current else "Bus"
    unit, step = (layout.unit, layout.step) if is_current else ("kV", KV_STEP)
    fields = [str(number), name, "B", "", unit, f"{step:.9E}", f"{-layout.shift * step:.9E}"]
    fields += ["0", "-99999", "99999"]
    if layout.revision:
        behind = layout.secondary and is_current
        fields += [f"{RATIO:.1f}" if behind else "1.0", "1.0", "s" if behind else "P"]
    return ",".join(fields)


def body(layout: Layout) -> bytes:
    """The rows."""
    packed = []
    row = struct.Struct(f"<II4{layout.code}H") if layout.code else None
    for number in range(round(SECONDS * RATE_HZ)):
        codes = layout.codes(signal_at(number / RATE_HZ))
        stamp_us = round(number * 1e6 / RATE_HZ)
        if row is None:
            texts = [str(number + 1), str(stamp_us), *(f"{code:.0f}" for code in codes)]
            packed.append((",".join([*texts, "1", "0", "1"]) + layout.end).encode("ascii"))
        else:
            exact = codes if layout.code == "f" else [int(code) for code in codes]
            packed.append(row.pack(number + 1, stamp_us, *exact, 0b101))
    return b"".join(packed)


def write(layout: Layout, folder: Path) -> Path:
    """Writes the recording; returns the path to give to a reader."""
    text, rows = configuration(layout), body(layout)
    if not layout.single:
        (folder / f"{layout.name}.cfg").write_bytes(text)
        (folder / f"{layout.name}.dat").write_bytes(rows)
        return folder / f"{layout.name}.cfg"
    kind = layout.kind if not layout.code else f"{layout.kind}: {len(rows)}"
    parts = [("CFG", text), ("INF", b""), ("HDR", b"a note\r\n"), (f"DAT {kind}", rows)]
    end = layout.end.encode()
    content = b"".join(f"--- file type: {n} ---".encode() + end + part for n, part in parts)
    (folder / f"{layout.name}.cff").write_bytes(content)
    return folder / f"{layout.name}.cff"
