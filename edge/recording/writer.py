"""Writing a recording: the configuration's text and the rows, in any of the formats."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import BinaryIO

import numpy as np
import numpy.typing as npt

from edge.recording.binary_rows import STAMP_MISSING, missing_code, row_dtype
from edge.recording.faults import RecordingError
from edge.recording.model import FileType, Revision
from edge.samples import Channel, ChannelKind, SignalDescription

Samples = npt.NDArray[np.generic]
Missing = npt.NDArray[np.bool_]

_EXTENT = {FileType.BINARY: 0x7FFF, FileType.BINARY32: 0x7FFFFFFF, FileType.ASCII: 99_998}
"""Highest code; the lowest is its negative, which no format uses for 'missing'."""

PEAK_MIN = 1e-30
"""A channel with a smaller peak [mA, kV] is scaled as if it were 1: its codes are all 0."""

_UNIT = {ChannelKind.CURRENT: "mA", ChannelKind.VOLTAGE: "kV"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Writing:
    """What is written around the samples.

    signal: its channels' gain and offset become a and b in mA or kV, primary.
    start_utc_ns, trigger_utc_ns: before 2013 cut to microseconds. quality: time quality code of
    revision 2013 (`stamps.quality_code`). header_text: free text, the HDR section of a single file.
    first_number: sample number of the first row.
    """

    station: str
    device: str
    signal: SignalDescription
    start_utc_ns: int
    trigger_utc_ns: int
    revision: Revision = Revision.R2013
    file_type: FileType = FileType.BINARY
    quality: str = "0"
    header_text: str = ""
    first_number: int = 1


def write_pair(
    configuration: BinaryIO,
    rows: BinaryIO,
    writing: Writing,
    samples: Samples,
    missing: Missing | None = None,
) -> None:
    """Write a .cfg and a .dat. samples: (n, channels) codes as `Writing.signal` scales them.

    A sample at a converter's end that is the format's code for 'missing' (-32768 in BINARY) is
    written one code higher, and so is the declared end: it stays a clipped sample.
    RecordingError where a code does not fit the format; nothing has been written then.
    """
    body = encode_rows(writing, samples, missing)
    text = configuration_text(writing, int(samples.shape[0]))
    configuration.write(text)
    rows.write(body)


def write_single_file(
    target: BinaryIO, writing: Writing, samples: Samples, missing: Missing | None = None
) -> None:
    """Write a .cff; see `write_pair`."""
    body = encode_rows(writing, samples, missing)
    text = writing.header_text.replace("\r\n", "\n").replace("\n", "\r\n")
    if "--- file type:" in text.lower():
        raise _unwritable("the header text holds a section heading", "other text")
    label = "ASCII" if writing.file_type is FileType.ASCII else f"{writing.file_type}: {len(body)}"
    configuration = configuration_text(writing, int(samples.shape[0]))
    target.write(b"--- file type: CFG ---\r\n" + configuration)
    target.write(b"--- file type: INF ---\r\n\r\n--- file type: HDR ---\r\n")
    target.write(text.encode() + b"\r\n")
    target.write(f"--- file type: DAT {label} ---\r\n".encode())
    target.write(body)


def quantised(
    physical: npt.NDArray[np.float64],
    channels: tuple[Channel, ...],
    file_type: FileType,
    revision: Revision = Revision.R2013,
) -> tuple[Samples, tuple[Channel, ...]]:
    """Codes and channels for samples (n, channels) in mA and kV, each within half of its a.

    The scale uses the whole range of the format; a sample that is not finite needs FLOAT32. In
    BINARY of revision 1991 codes start at 0, because -1 means missing there.
    """
    if file_type is FileType.FLOAT32:
        flat = tuple(replace(c, gain=1.0, offset=0.0, raw_min=None, raw_max=None) for c in channels)
        return physical.astype(np.float32), flat
    if not np.isfinite(physical).all():
        raise _unwritable("a sample that is not finite", "finite samples, or FLOAT32")
    extent = _EXTENT[file_type] - 1
    unsigned = file_type is FileType.BINARY and revision is Revision.R1991
    codes = np.empty(physical.shape, dtype=np.int16 if extent < 0x7FFF else np.int32)
    scaled = []
    for column, channel in enumerate(channels):
        peak = float(np.abs(physical[:, column]).max(initial=0.0))
        peak = peak if peak >= PEAK_MIN else 1.0
        gain, offset = (2 * peak / extent, -peak) if unsigned else (peak / extent, 0.0)
        codes[:, column] = np.rint((physical[:, column] - offset) / gain)
        scaled.append(replace(channel, gain=gain, offset=offset, raw_min=None, raw_max=None))
    return codes, tuple(scaled)


def configuration_text(writing: Writing, rows: int) -> bytes:
    """The configuration for a number of rows, UTF-8 with CRLF, its last line ended."""
    signal, old = writing.signal, writing.revision is Revision.R1991
    _check_texts(writing, rows)
    count = len(signal.channels)
    lines = [
        f"{writing.station},{writing.device}" + ("" if old else f",{writing.revision}"),
        f"{count},{count}A,0D",
        *(_channel_line(writing, n, c) for n, c in enumerate(signal.channels, 1)),
        f"{signal.nominal_hz:g}",
        "1",
        f"{signal.rate_hz!r},{rows}",
        _stamp(writing.start_utc_ns, writing),
        _stamp(writing.trigger_utc_ns, writing),
        str(writing.file_type),
    ]
    if not old:
        lines.append(f"{_multiplier(writing, rows)}")
    if writing.revision is Revision.R2013:
        lines += ["0,0", f"{writing.quality},3"]
    return "".join(line + "\r\n" for line in lines).encode()


def _check_texts(writing: Writing, rows: int) -> None:
    texts = [writing.station, writing.device]
    texts += [text for c in writing.signal.channels for text in (c.name, c.phase)]
    if any("," in text or not text.isprintable() for text in texts):
        raise _unwritable("a name with a comma or control character", "names without")
    modern = (FileType.BINARY32, FileType.FLOAT32)
    if writing.file_type in modern and writing.revision is not Revision.R2013:
        raise _unwritable(f"{writing.file_type} in revision {writing.revision}", "revision 2013")
    if rows < 1:
        raise _unwritable("no row", "one row or more")


def _channel_line(writing: Writing, number: int, channel: Channel) -> str:
    extent = _EXTENT.get(writing.file_type, 1)
    # Where the ends are unknown: one short of the format's, so that no reader takes it for them.
    low = max(channel.raw_min, -extent) if channel.raw_min is not None else 1 - extent
    high = channel.raw_max if channel.raw_max is not None else extent - 1
    fields = [str(number), channel.name, channel.phase, "", _UNIT[channel.kind]]
    fields += [repr(float(channel.gain)), repr(float(channel.offset)), "0"]
    fields += [f"{low:.17g}", f"{high:.17g}"]
    if writing.revision is not Revision.R1991:
        fields += ["1", "1", "P"]
    return ",".join(fields)


def _stamp(utc_ns: int, writing: Writing) -> str:
    """Date and time; nanoseconds only where revision 2013 needs them."""
    whole_s, fraction_ns = divmod(utc_ns, 10**9)
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=whole_s)
    order = "%m/%d/%Y" if writing.revision is Revision.R1991 else "%d/%m/%Y"
    digits = f"{fraction_ns:09d}"
    if not _in_nanoseconds(writing):
        digits = digits[:6]
    return at.strftime(f"{order},%H:%M:%S.") + digits


def _in_nanoseconds(writing: Writing) -> bool:
    finer = writing.start_utc_ns % 1000 or writing.trigger_utc_ns % 1000
    return bool(finer) and writing.revision is Revision.R2013


def _multiplier(writing: Writing, rows: int) -> int:
    """Power of ten that keeps the last time stamp within its 32 bits."""
    unit_s = 1e-9 if _in_nanoseconds(writing) else 1e-6
    longest = rows / writing.signal.rate_hz / unit_s
    multiplier = 1
    while longest / multiplier >= STAMP_MISSING:
        multiplier *= 10
    return multiplier


def encode_rows(
    writing: Writing,
    samples: Samples,
    missing: Missing | None = None,
    *,
    rows_before: int = 0,
    rows_total: int | None = None,
) -> bytes:
    """The rows as bytes; RecordingError where a code does not fit the format.

    rows_before, rows_total: where they are a part of a longer recording, for their time stamps.
    """
    rows, channels = samples.shape
    assert channels == len(writing.signal.channels)
    assert missing is None or missing.shape == samples.shape
    numbers = writing.first_number + np.arange(rows, dtype=np.int64)
    stamps = _row_stamps(writing, rows, rows_before, rows_total or rows)
    if writing.file_type is FileType.ASCII:
        return _ascii_body(numbers, stamps, samples, missing)
    codes = _codes(writing, samples, missing)
    table = np.zeros(rows, dtype=row_dtype(writing.file_type, channels, 0))
    table["number"], table["stamp"], table["analogue"] = numbers, stamps, codes
    return table.tobytes()


def _row_stamps(writing: Writing, rows: int, before: int, total: int) -> npt.NDArray[np.int64]:
    """Stamps in the unit of the configuration; missing where revision 1991 cannot hold them."""
    old = writing.revision is Revision.R1991
    unit_s = 1e-9 if _in_nanoseconds(writing) else 1e-6
    step = 1 / writing.signal.rate_hz / unit_s / (1 if old else _multiplier(writing, total))
    stamps = np.rint(np.arange(before, before + rows) * step).astype(np.int64)
    kept: npt.NDArray[np.int64] = np.minimum(stamps, STAMP_MISSING)
    return kept


def _codes(writing: Writing, samples: Samples, missing: Missing | None) -> Samples:
    absent = np.zeros(samples.shape, dtype=np.bool_) if missing is None else missing
    code = missing_code(writing.file_type, writing.revision)
    if code is None:
        if absent.any():
            raise _unwritable("a missing value in FLOAT32", "no missing value, or BINARY32")
        return samples.astype(np.float32)
    wide = np.where(absent, 0, samples).astype(np.float64)
    extent = _EXTENT[writing.file_type]
    for column, channel in enumerate(writing.signal.channels):
        if channel.raw_min == code:  # a clipped sample must not turn into a missing one
            wide[:, column] = np.maximum(wide[:, column], -extent)
    low = -extent - (code == -1)
    fits = (wide == np.rint(wide)) & (wide >= low) & (wide <= extent)
    if code == -1:
        fits &= absent | (wide != code)
    if not fits.all():
        bad = float(wide[~fits][0])
        raise _unwritable(
            f"code {bad:g} in {writing.file_type} of revision {writing.revision}",
            f"whole codes from {low} to {extent} other than {code}, which means missing",
        )
    return np.where(absent, code, wide).astype(np.int64)


def _ascii_body(
    numbers: npt.NDArray[np.int64],
    stamps: npt.NDArray[np.int64],
    samples: Samples,
    missing: Missing | None,
) -> bytes:
    wide = samples.astype(np.float64)
    absent = np.zeros(samples.shape, dtype=np.bool_) if missing is None else missing
    if (~absent & ~(np.abs(wide) <= _EXTENT[FileType.ASCII])).any():
        raise _unwritable("a code that is not finite or beyond 99998", "-99998 to 99998")
    lines = []
    for number, stamp, row, gone in zip(
        numbers.tolist(), stamps.tolist(), wide.tolist(), absent.tolist(), strict=True
    ):
        texts = ["99999" if g else f"{v:.17g}" for v, g in zip(row, gone, strict=True)]
        lines.append(f"{number},{stamp},{','.join(texts)}\r\n")
    return "".join(lines).encode("ascii")


def _unwritable(found: str, allowed: str) -> RecordingError:
    return RecordingError("recording to write", found, allowed, "choose another format or scale")
