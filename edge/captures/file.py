"""A captured waveform as a COMTRADE single file that can be read alone, and as records.

Codes stay as the converter gave them: 16 or 32 bits, or single precision where they were floats.
Only double precision is rounded, and the header text then says so. The scale is the channel's own,
before calibration, as with every recording of ours; the header text names the calibration.
"""

from __future__ import annotations

import hashlib
import io
from base64 import b64encode
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from edge.measure.cutting import utc_us_at
from edge.measure.flags import flag_words
from edge.measure.raw_rows import Bools, CapturedWaveform, Raw
from edge.recording.model import FileType
from edge.recording.stamps import quality_code
from edge.recording.writer import Writing, write_single_file
from edge.records import Capture, CapturePart
from edge.samples import Channel

PART_BYTES = 24_000
"""A file is cut into parts of at most so many bytes: 32 kB in base64, half of the largest message,
and short enough for a thin link."""

INT16_CODE_MAX, INT32_CODE_MAX = 0x7FFF, 0x7FFFFFFF
"""Codes of a larger size do not fit the format; the negative one beyond means 'missing' there."""


def file_bytes(waveform: CapturedWaveform, settings_sha: str) -> bytes:
    """The .cff file; the same waveform and settings give the same bytes."""
    coded = _coded(waveform.samples, waveform.missing)
    channels = tuple(_named(channel) for channel in waveform.description.channels)
    writing = Writing(
        station=_plain(waveform.insulator),
        device=f"seafret {settings_sha}",
        signal=replace(waveform.description, channels=channels),
        start_utc_ns=_utc_us(waveform, waveform.counter) * 1000,
        trigger_utc_ns=_utc_us(waveform, waveform.trigger_counter) * 1000,
        file_type=coded.file_type,
        quality=quality_code(waveform.anchor.error_ns, waveform.anchor.synchronised),
        header_text=_header_text(waveform, settings_sha, coded),
    )
    stream = io.BytesIO()
    write_single_file(stream, writing, coded.samples, coded.missing)
    return stream.getvalue()


def records_of(
    waveform: CapturedWaveform, content: bytes, settings_sha: str
) -> tuple[Capture | CapturePart, ...]:
    """The manifest of a file and its parts, in order."""
    sha = hashlib.sha256(content).hexdigest()
    pieces = [content[at : at + PART_BYTES] for at in range(0, len(content), PART_BYTES)]
    start_us = _utc_us(waveform, waveform.counter)
    stop_us = _utc_us(waveform, waveform.counter + len(waveform.samples))
    manifest = Capture(
        insulator=waveform.insulator,
        trigger=waveform.trigger.value,
        trigger_us=_utc_us(waveform, waveform.trigger_counter),
        start_us=start_us,
        duration_us=stop_us - start_us,
        content_sha=sha,
        size_bytes=len(content),
        parts=len(pieces),
        settings_sha=settings_sha,
        flags=flag_words(waveform.flags),
    )
    parts = (
        CapturePart(content_sha=sha, part=number, content_b64=b64encode(piece).decode("ascii"))
        for number, piece in enumerate(pieces)
    )
    return (manifest, *parts)


def _utc_us(waveform: CapturedWaveform, counter: int) -> int:
    return utc_us_at(waveform.anchor, waveform.description.rate_hz, counter)


class _Coded(NamedTuple):
    """Samples in a format that holds them; is_rounded: double precision did not fit."""

    samples: Raw
    missing: Bools | None
    file_type: FileType
    is_rounded: bool


def _coded(samples: Raw, missing: Bools | None) -> _Coded:
    """The smallest format that holds every code; a code that would mean 'missing' needs a wider."""
    if np.issubdtype(samples.dtype, np.integer):
        highest = int(np.abs(samples.astype(np.int64)).max())
        if samples.dtype.itemsize <= 2 and highest <= INT16_CODE_MAX:
            return _Coded(samples, missing, FileType.BINARY, False)
        if highest <= INT32_CODE_MAX:
            return _Coded(samples, missing, FileType.BINARY32, False)
    if missing is not None:
        samples = np.where(missing, np.nan, samples)  # that format has no code for it
    single = samples.astype(np.float32)
    is_rounded = not np.array_equal(single.astype(np.float64), samples, equal_nan=True)
    return _Coded(single, None, FileType.FLOAT32, is_rounded)


def _named(channel: Channel) -> Channel:
    return replace(channel, name=_plain(channel.name), phase=_plain(channel.phase))


def _plain(text: str) -> str:
    """Without what the format's lines cannot hold: commas and control characters."""
    return "".join(one if one.isprintable() and one != "," else "_" for one in text)


def _header_text(waveform: CapturedWaveform, settings_sha: str, coded: _Coded) -> str:
    """For people and programs: `name: text`, a line each."""
    calibration = waveform.calibration
    lines = {
        "insulator": _plain(waveform.insulator),
        "trigger": waveform.trigger.value,
        "trigger row": str(waveform.trigger_counter - waveform.counter + 1),
        "settings": settings_sha,
        "calibration": _plain(calibration.id) or "none",
        "calibration gain": repr(float(calibration.gain)),
        "calibration offset mA": repr(float(calibration.offset_ma)),
        "calibration lag deg": repr(float(calibration.lag_deg)),
        "sample counter of row 1": str(waveform.counter),
        "flags": "|".join(flag_words(waveform.flags)) or "none",
        "codes": "rounded to single precision" if coded.is_rounded else "as the converter gave",
        "note": "monitoring only: not protection, no proof that anything is dead",
    }
    for channel in waveform.description.channels:
        ends = [end for end in (channel.raw_min, channel.raw_max) if end is not None]
        told = " to ".join(f"{end:g}" for end in ends) if ends else "not known"
        lines[f"converter ends of {_plain(channel.name)}"] = told
    return "\n".join(f"{name}: {text}" for name, text in lines.items())
