"""A parsed recording: header, signal and rows, from buffers that the caller holds open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from edge.quantities import Flag
from edge.recording.ascii_rows import AsciiRows, ascii_rows
from edge.recording.binary_rows import BinaryRows, Bytes, Columns, binary_rows
from edge.recording.configuration import parse_header
from edge.recording.faults import RecordingError
from edge.recording.model import CONFIGURATION_BYTES_MAX, FileType, Header
from edge.recording.regularity import stamped_rate_hz
from edge.recording.signal import Signal, signal_of
from edge.recording.single_file import Section, line_number, sections_of
from edge.recording.text import decode
from edge.samples import AnchorSource, SignalDescription, TimeAnchor

if TYPE_CHECKING:  # in the standard library from Python 3.12 on
    from typing_extensions import Buffer

    Readable = Buffer | npt.NDArray[np.uint8]

Rows = BinaryRows | AsciiRows


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """One recording, ready to be fed. Values stay in the caller's buffer until they are read.

    cut: why there are fewer rows than declared; "" where the recording is whole.
    header_text: the HDR section of a single file.
    """

    header: Header
    signal: Signal
    rows: Rows
    header_text: str

    @property
    def name(self) -> str:
        """As given by the caller, for messages."""
        return self.header.name

    @property
    def description(self) -> SignalDescription:
        """Rate, nominal frequency and the used channels, scaled to primary mA and kV."""
        return self.signal.description

    @property
    def flags(self) -> tuple[Flag, ...]:
        """Doubt that holds for every row made from this recording."""
        return self.signal.flags

    @property
    def warnings(self) -> tuple[str, ...]:
        """One line of text each, for the person who reads the recording."""
        return self.header.warnings + self.signal.warnings

    @property
    def cut(self) -> str:
        """Why there are fewer rows than declared; "" where the recording is whole."""
        return self.rows.cut

    def anchor(self, counter: int) -> TimeAnchor:
        """The time anchor of the first row, which is sample `counter`."""
        quality = self.header.quality
        return TimeAnchor(
            counter,
            self.header.start_utc_ns,
            quality.error_ns,
            AnchorSource.RECORD,
            quality.synchronised,
        )


def read_pair(
    configuration: Readable,
    rows: Readable,
    *,
    name: str,
    zone: tzinfo | None = None,
    nominal_hz: float | None = None,
) -> Record:
    """A recording of two files: the bytes of its .cfg, and those of its .dat (best a memory map).

    name: the .cfg's, for messages. zone: of stamps without their own. nominal_hz: where the record
    declares none. RecordingError for whatever cannot be trusted.
    """
    text, content = _bytes(configuration), _bytes(rows)
    header = parse_header(_small(text, name), name=name, zone=zone)
    return _record(header, content, _rows_name(name), 1, nominal_hz, "")


def read_single_file(
    content: Readable, *, name: str, zone: tzinfo | None = None, nominal_hz: float | None = None
) -> Record:
    """A recording in one .cff file; see `read_pair`."""
    whole = _bytes(content)
    sections = sections_of(whole, name)
    configuration, rows = sections["CFG"], sections["DAT"]
    first_line = line_number(whole, configuration.start)
    text = configuration.content.tobytes()
    header = parse_header(text, name=name, zone=zone, first_line=first_line)
    _check_section(header, rows)
    header_text = ""
    if "HDR" in sections:
        header_text = decode(sections["HDR"].content.tobytes(), name).strip("\r\n")
    is_text = header.file_type is FileType.ASCII
    line = line_number(whole, rows.start) if is_text else 1
    record = _record(header, rows.content, f"{name} DAT section", line, nominal_hz, header_text)
    if record.cut and rows.declared_bytes == rows.content.shape[0]:
        raise RecordingError(
            f"{name} byte {rows.start}",
            f"the rows' heading declares {rows.declared_bytes} bytes, which hold "
            f"{record.rows.count} rows",
            f"the {header.rows} rows that the configuration declares",
            "check that the parts belong together",
        )
    return record


def _check_section(header: Header, rows: Section) -> None:
    """The DAT heading must agree with the configuration; BINARY stands for any binary type."""
    is_text = header.file_type is FileType.ASCII
    fitting = ("", "ASCII") if is_text else ("BINARY", header.file_type)
    if rows.label not in fitting:
        raise RecordingError(
            f"{header.name} byte {rows.start}",
            f"the rows' heading says {rows.label or 'nothing'}, the configuration "
            f"{header.file_type}",
            " or ".join(filter(None, fitting)),
            "correct the heading",
        )


def _record(
    header: Header,
    content: Bytes,
    rows_name: str,
    first_line: int,
    nominal_hz: float | None,
    header_text: str,
) -> Record:
    rate_hz = header.rate_hz
    if rate_hz is None:
        rate_hz = stamped_rate_hz(
            _rows(header, content, slice(None), rows_name, first_line), header
        )
    signal = signal_of(header, rate_hz, nominal_hz)
    rows = _rows(header, content, _columns(signal.columns), rows_name, first_line)
    return Record(header, signal, rows, header_text)


def _rows(header: Header, content: Bytes, columns: Columns, name: str, first_line: int) -> Rows:
    if header.file_type is FileType.ASCII:
        return ascii_rows(content, header, columns, name, first_line)
    return binary_rows(content, header, columns, name)


def _columns(columns: tuple[int, ...]) -> Columns:
    """A slice where the columns are evenly spaced, so that samples are views; else a list."""
    step = columns[1] - columns[0] if len(columns) > 1 else 1
    even = slice(columns[0], columns[-1] + 1, step)
    return even if tuple(range(columns[0], columns[-1] + 1, step)) == columns else list(columns)


def _bytes(buffer: Readable) -> Bytes:
    if isinstance(buffer, np.ndarray):
        return buffer
    view = memoryview(buffer)
    if view.nbytes == 0:
        return np.zeros(0, dtype=np.uint8)
    return np.frombuffer(view, dtype=np.uint8)


def _small(content: Bytes, name: str) -> bytes:
    """A configuration's bytes, one more than allowed at most: enough to be refused."""
    return content[: CONFIGURATION_BYTES_MAX + 1].tobytes()


def _rows_name(name: str) -> str:
    """Name of the rows' file beside a configuration, keeping its letter case."""
    if name[-4:].lower() != ".cfg":
        return f"{name} rows"
    return name[:-3] + ("DAT" if name[-3:].isupper() else "dat")
