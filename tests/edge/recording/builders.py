"""Recordings built by hand, byte by byte, without the writer under test."""

from __future__ import annotations

import struct
from collections.abc import Sequence

import numpy as np

from edge.samples import SampleBlock, SourceItem, StreamEnd, TimeAnchor

CURRENT = "1,I1,A,,mA,0.01,0,0,-32767,32767,1,1,P"
VOLTAGE = "2,U1,A,,kV,0.001,0,0,-32767,32767,1,1,P"
CODES = {"BINARY": "h", "BINARY32": "i", "FLOAT32": "f"}


def configuration(
    *,
    first: str = "Fogbank,FB-1,2013",
    analogue: Sequence[str] = (CURRENT, VOLTAGE),
    digital: Sequence[str] = (),
    counts: str | None = None,
    line_hz: str = "50",
    rates: Sequence[str] = ("1", "10000,8"),
    start: str = "01/02/2024,03:04:05.000000",
    trigger: str = "01/02/2024,03:04:05.000200",
    kind: str = "BINARY",
    tail: Sequence[str] = ("1", "0,0", "4,3"),
    end: str = "\r\n",
) -> bytes:
    """The text of a configuration, any line of which a test may spoil."""
    a, d = len(analogue), len(digital)
    lines = [first, counts or f"{a + d},{a}A,{d}D", *analogue, *digital, line_hz]
    lines += [*rates, start, trigger, kind, *tail]
    return (end.join(lines) + end).encode()


def configuration_1991(*, kind: str = "ASCII", rows: int = 8) -> bytes:
    """Revision 1991: two fields first, ten a channel, month before day, two digits of the year."""
    return configuration(
        first="Fogbank,FB-1",
        analogue=("1,I1,A,,mA,0.01,0,0,-32767,32767", "2,U1,A,,kV,0.001,0,0,-32767,32767"),
        rates=("1", f"10000,{rows}"),
        start="02/01/94,03:04:05.000000",
        trigger="02/01/94,03:04:05.000200",
        kind=kind,
        tail=(),
    )


def binary(
    table: Sequence[Sequence[float]],
    *,
    kind: str = "BINARY",
    numbers: Sequence[int] | None = None,
    stamps: Sequence[int] | None = None,
    words: Sequence[int] = (),
) -> bytes:
    """Rows in a binary layout."""
    numbers = numbers or range(1, len(table) + 1)
    stamps = stamps or [100 * n for n in range(len(table))]
    layout = struct.Struct(f"<II{len(table[0])}{CODES[kind]}{len(words)}H")
    return b"".join(
        layout.pack(number, stamp, *row, *words)
        for number, stamp, row in zip(numbers, stamps, table, strict=True)
    )


def text(rows: Sequence[str], *, end: str = "\r\n") -> bytes:
    """Rows of an ASCII recording."""
    return "".join(row + end for row in rows).encode()


def single(cfg: bytes, heading: str, rows: bytes, header_text: str = "") -> bytes:
    """A single file of sections."""
    return (
        b"--- file type: CFG ---\r\n"
        + cfg
        + b"--- file type: INF ---\r\n\r\n--- file type: HDR ---\r\n"
        + header_text.encode()
        + b"\r\n"
        + f"--- file type: DAT {heading} ---\r\n".encode()
        + rows
    )


RAMP = [[n, -n] for n in range(1, 9)]


def joined(items: Sequence[SourceItem]) -> tuple[list[int], list[list[float]], list[list[bool]]]:
    """Counters, samples and missing marks of all blocks, row by row."""
    counters: list[int] = []
    samples: list[list[float]] = []
    missing: list[list[bool]] = []
    for item in items:
        if isinstance(item, SampleBlock):
            assert item.samples.shape[0] > 0
            counters += range(item.counter, item.counter_end)
            samples += item.samples.tolist()
            marks = item.missing
            missing += (
                np.zeros(item.samples.shape, dtype=bool) if marks is None else marks
            ).tolist()
    return counters, samples, missing


def anchors(items: Sequence[SourceItem]) -> list[TimeAnchor]:
    """The time anchors, in order."""
    return [item for item in items if isinstance(item, TimeAnchor)]


def ending(items: Sequence[SourceItem]) -> StreamEnd:
    """The last item."""
    assert isinstance(items[-1], StreamEnd)
    return items[-1]
