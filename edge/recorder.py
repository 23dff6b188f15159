"""`seafret-edge record`: what the sensors read now, as a COMTRADE recording.

Rows are written as they come, so that the memory does not grow with the length.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

import numpy as np

from edge.clock import read_clock
from edge.daemon import dating
from edge.daemon.faults import SourceSilent
from edge.daemon.looking import opened
from edge.daemon.pacing import limited
from edge.daemon.running import read_settings
from edge.faults import Exit
from edge.recording import RecordingError, Writing
from edge.recording.model import FileType
from edge.recording.stamps import quality_code
from edge.recording.writer import configuration_text, encode_rows
from edge.samples import SampleBlock, SignalDescription, SourceItem, StreamEnd, TimeAnchor
from edge.settings import Settings

FILE_TYPES = {
    np.dtype(np.int16): FileType.BINARY,
    np.dtype(np.int32): FileType.BINARY32,
    np.dtype(np.float32): FileType.FLOAT32,
}
"""Codes are written as they came; wider floats become single precision."""


@dataclass(frozen=True, slots=True)
class Written:
    """rows: written. start: counter of the first. writing: None before any. end: why it stopped."""

    rows: int = 0
    start: int = 0
    writing: Writing | None = None
    end: str = ""


def record(arguments: argparse.Namespace) -> int:
    """Writes FILE.cfg and its .dat; what is unfinished keeps the ending `.part`."""
    settings, clock = read_settings(arguments.settings), read_clock(arguments.clock)
    target: Path = arguments.out
    if target.suffix.lower() != ".cfg":
        raise RecordingError(str(target), "another ending", "a name that ends in .cfg", "rename it")
    source = opened(settings, arguments.settings.parent, clock)
    rows_part = target.with_suffix(".dat.part")
    try:
        items = limited(source.items(clock.utc_us()), source.description.rate_hz, arguments.seconds)
        with rows_part.open("wb") as rows:
            total = round(arguments.seconds * source.description.rate_hz)
            done = _write(settings, source.description, items, rows, total)
    finally:
        source.close()
    if done.writing is None:
        rows_part.unlink()
        raise SourceSilent(f"nothing to record: {done.end}")
    target.write_bytes(configuration_text(done.writing, done.rows))
    rows_part.replace(target.with_suffix(".dat"))
    seconds = done.rows / source.description.rate_hz
    print(f"{target}: {seconds:.3f} s, {done.rows} rows ({done.end})")
    return Exit.FINE if done.rows >= total else Exit.OUT_OF_REACH


def _write(
    settings: Settings,
    description: SignalDescription,
    items: Iterator[SourceItem],
    rows: BinaryIO,
    total: int,
) -> Written:
    """Rows under sample numbers of their counters: a jump stays a gap."""
    done, dated = Written(), dating.Dated()
    for item in items:
        if isinstance(item, TimeAnchor):
            dated, _ = dating.anchored(dated, item, description.rate_hz, "")
        elif isinstance(item, StreamEnd):
            return replace(done, end=item.reason)
        elif isinstance(item, SampleBlock):
            if done.writing is None:
                begun = _writing(settings, description, item, dated)
                done = replace(done, writing=begun, start=item.counter)
            assert done.writing is not None
            before = item.counter - done.start
            writing = replace(done.writing, first_number=before + 1)
            rows.write(
                encode_rows(
                    writing, item.samples, item.missing, rows_before=before, rows_total=total
                )
            )
            done = replace(done, rows=done.rows + len(item.samples))
    return replace(done, end="the source ended")


def _writing(
    settings: Settings, description: SignalDescription, first: SampleBlock, dated: dating.Dated
) -> Writing:
    anchor = dated.anchor
    start_ns = dating.utc_us(dated, first.counter, description.rate_hz) * 1000
    error_ns = (dating.error_us(dated, first.counter, description.rate_hz) or 0) * 1000
    return Writing(
        station=settings.site.name.replace(",", ";"),
        device=f"{settings.unit.id} settings {settings.sha}",
        signal=description,
        start_utc_ns=start_ns,
        trigger_utc_ns=start_ns,
        file_type=FILE_TYPES.get(first.samples.dtype, FileType.FLOAT32),
        quality="F" if anchor is None else quality_code(error_ns, anchor.synchronised),
    )
