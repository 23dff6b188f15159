"""What the link needs of a line: bytes a second, and the slowest usual line that carries them."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

from edge.sense import frames
from edge.sense.framing import CRC_BYTES

UART_BITS_PER_BYTE = 10
"""Start, eight bits, stop (8N1)."""

LINE_SHARE_MAX = 0.8
"""Share of a line that a stream may take; the rest lets a receiver that fell behind catch up."""

SIDE_BYTES_PER_S = 2_000
"""Room for a hello (9 channels with names of 48 bytes), anchors and slow readings each second."""

LINES = (
    ("115,200 baud", 115_200 / UART_BITS_PER_BYTE),
    ("230,400 baud", 230_400 / UART_BITS_PER_BYTE),
    ("460,800 baud", 460_800 / UART_BITS_PER_BYTE),
    ("921,600 baud", 921_600 / UART_BITS_PER_BYTE),
    ("2 Mbaud", 2_000_000 / UART_BITS_PER_BYTE),
    ("3 Mbaud", 3_000_000 / UART_BITS_PER_BYTE),
    ("USB full speed", 1_000_000.0),
    ("USB high speed", 30_000_000.0),
)
"""Bytes a second. USB: what a CDC serial device may be expected to reach (common practice), below
the 1,216,000 bytes a second that bulk transfers of full speed allow (USB 2.0, as recalled)."""


@dataclass(frozen=True, slots=True)
class Budget:
    """rows: a frame's. bytes_per_s: on the line, overhead and side frames included, at worst."""

    rows: int
    bytes_per_s: int
    line: str


def budget(channels: int, rate_hz: float, bytes_each: int) -> Budget:
    """For samples frames of `FRAME_S_MIN`. Raises ValueError where no line of the table will do."""
    rows = ceil(frames.FRAME_S_MIN * rate_hz)
    body = frames.HEAD.size + frames.SAMPLES.size + rows * channels * bytes_each + CRC_BYTES
    on_line = body + ceil(body / 254) + 2
    needed = ceil(on_line * rate_hz / rows) + SIDE_BYTES_PER_S
    for line, carried in LINES:
        if needed <= LINE_SHARE_MAX * carried:
            return Budget(rows, needed, line)
    raise ValueError(
        f"{channels} channels at {rate_hz:g} Hz need {needed} bytes/s; no line has that"
    )


TABLE_CHANNELS = range(1, 10)
TABLE_RATES_HZ = (4_800.0, 9_600.0, 10_000.0, 12_800.0, 25_600.0)


def budget_table(bytes_each: int = 2) -> str:
    """The published table, in Markdown: a row for each number of channels."""
    head = "| channels | " + " | ".join(f"{rate / 1000:g} kS/s" for rate in TABLE_RATES_HZ) + " |"
    lines = [head, "|---" * (1 + len(TABLE_RATES_HZ)) + "|"]
    for channels in TABLE_CHANNELS:
        cells = (budget(channels, rate, bytes_each) for rate in TABLE_RATES_HZ)
        texts = (f"{cell.bytes_per_s:,} B/s<br>{cell.line}" for cell in cells)
        lines.append(f"| {channels} | " + " | ".join(texts) + " |")
    return "\n".join(lines) + "\n"
