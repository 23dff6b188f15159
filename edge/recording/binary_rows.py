"""Rows of the binary formats, read in place from a buffer (a memory map costs nothing to open)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from edge.recording.faults import RecordingError
from edge.recording.model import FileType, Header, Revision

Bytes = npt.NDArray[np.uint8]
Columns = slice | list[int]

ANALOGUE_CODE = {FileType.BINARY: "<i2", FileType.BINARY32: "<i4", FileType.FLOAT32: "<f4"}

STAMP_MISSING = 0xFFFFFFFF

_MISSING = {FileType.BINARY: -0x8000, FileType.BINARY32: -0x80000000}
_MISSING_1991 = -1  # 0xFFFF


@dataclass(frozen=True, slots=True, eq=False)
class Chunk:
    """Consecutive rows. number: sample numbers. samples: (n, channels) as stored.

    missing: True where the value is absent; None: none is. Float formats have no such code, so a
    NaN is a sample that is not finite, not a missing one.
    """

    number: npt.NDArray[np.integer[Any]]
    samples: npt.NDArray[np.generic]
    missing: npt.NDArray[np.bool_] | None


def row_dtype(file_type: FileType, analogue: int, digital: int) -> np.dtype[np.void]:
    """Layout of one row: sample number, time stamp, analogue codes, status words of 16 bits."""
    return np.dtype(
        [
            ("number", "<u4"),
            ("stamp", "<u4"),
            ("analogue", ANALOGUE_CODE[file_type], (analogue,)),
            ("digital", "<u2", (-(-digital // 16),)),
        ]
    )


def missing_code(file_type: FileType, revision: Revision) -> int | None:
    """The code of an absent value; None where the format has none."""
    if file_type is FileType.BINARY and revision is Revision.R1991:
        return _MISSING_1991
    return _MISSING.get(file_type)


def _holds(samples: npt.NDArray[np.generic], code: int) -> bool:
    """Whether a code stands anywhere; a column at a time, as rows are too short to be fast."""
    columns = [samples[:, index] for index in range(samples.shape[1])]
    if samples.dtype.kind == "i" and code == np.iinfo(samples.dtype.str).min:
        return any(int(column.min()) == code for column in columns)
    return any(bool((column == code).any()) for column in columns)


@dataclass(frozen=True, slots=True, eq=False)
class BinaryRows:
    """Whole rows of a binary recording, as a view of the caller's buffer.

    columns: used analogue columns; a slice gives samples that are views, a list gives copies.
    cut: why rows are fewer than declared; "" where they are not.
    """

    name: str
    table: npt.NDArray[np.void]
    columns: Columns
    code: int | None
    cut: str

    @property
    def count(self) -> int:
        """Number of whole rows."""
        return int(self.table.shape[0])

    def chunks(self, rows_each: int) -> Iterator[Chunk]:
        """All rows in order, `rows_each` at a time."""
        for start in range(0, self.count, rows_each):
            part = self.table[start : start + rows_each]
            samples = part["analogue"][:, self.columns]
            has_missing = self.code is not None and _holds(samples, self.code)
            yield Chunk(part["number"], samples, samples == self.code if has_missing else None)

    def stamps(
        self, rows_each: int
    ) -> Iterator[tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]]:
        """Sample numbers and time stamps (NaN: missing), in order."""
        for start in range(0, self.count, rows_each):
            part = self.table[start : start + rows_each]
            stamp = part["stamp"].astype(np.float64)
            stamp[part["stamp"] == STAMP_MISSING] = np.nan
            yield part["number"].astype(np.float64), stamp

    def place(self, row: int) -> str:
        """Where a row stands, for an error message."""
        return f"{self.name} row {row + 1} (byte {row * self.table.dtype.itemsize})"


def binary_rows(content: Bytes, header: Header, columns: Columns, name: str) -> BinaryRows:
    """The rows in a buffer; one longer than declared is refused, a shorter one is cut short."""
    layout = row_dtype(header.file_type, len(header.analogue), len(header.digital))
    size, whole = int(content.shape[0]), int(content.shape[0]) // layout.itemsize
    declared_size = header.rows * layout.itemsize
    if size > declared_size:
        raise RecordingError(
            f"{name} byte {declared_size}",
            f"{size} bytes, but {header.rows} rows of {layout.itemsize} bytes are declared",
            f"{declared_size} bytes",
            "check that the two files belong together and the channel counts are right",
        )
    if whole == 0:
        raise RecordingError(
            name,
            f"{size} bytes hold no whole row of {layout.itemsize} bytes",
            f"{declared_size} bytes",
            "fetch the file again, it was cut",
        )
    table = content[: whole * layout.itemsize].view(layout)
    cut = ""
    numbers = table["number"]
    covered = int(numbers[-1]) - int(numbers[0]) + 1
    if size % layout.itemsize or max(whole, covered) < header.rows:
        cut = f"{name} is cut short: {whole} whole rows, {header.rows} declared"
    code = missing_code(header.file_type, header.revision)
    return BinaryRows(name, table, columns, code, cut)
