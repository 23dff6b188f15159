"""Rows of the ASCII format: a line each of number, stamp, analogue and status values."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np
import numpy.typing as npt

from edge.recording.binary_rows import Bytes, Chunk, Columns
from edge.recording.faults import RecordingError, excerpt
from edge.recording.model import Header

READ_BYTES = 1 << 20
"""Bytes looked at together; no influence on the rows."""

LINE_BYTES_MAX = 1 << 16
"""A longer line is refused: 1,024 channels of full width need less."""

MISSING_CODE = 99_999.0

_BLANK = b" \t\r\n\x1a\x00"
_REMEDY = "correct the line or fetch the file again"


@dataclass(frozen=True, slots=True, eq=False)
class AsciiRows:
    """Whole lines of an ASCII recording in the caller's buffer; values are float64.

    fields: a row's number of fields. analogue: how many of them are analogue. count: lines.
    cut: why lines are fewer than declared; "" where they are not.
    """

    name: str
    content: Bytes
    fields: int
    analogue: int
    columns: Columns
    count: int
    first_line: int
    cut: str

    def chunks(self, rows_each: int) -> Iterator[Chunk]:
        """All rows in order, `rows_each` at a time."""
        for table, empty in self._tables(rows_each):
            analogue = slice(2, 2 + self.analogue)
            samples = table[:, analogue][:, self.columns]
            missing = samples == MISSING_CODE
            if empty is not None:
                missing |= empty[:, analogue][:, self.columns]
            numbers = table[:, 0].astype(np.int64)
            yield Chunk(numbers, samples, missing if missing.any() else None)

    def stamps(
        self, rows_each: int
    ) -> Iterator[tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]]:
        """Sample numbers and time stamps (NaN: missing), in order."""
        for table, _ in self._tables(rows_each):
            yield table[:, 0], table[:, 1]

    def place(self, row: int) -> str:
        """Where a row stands, for an error message."""
        return f"{self.name} line {self.first_line + row}"

    def _tables(
        self, rows_each: int
    ) -> Iterator[tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_] | None]]:
        """Rows as numbers, and where a field was empty (None: nowhere)."""
        lines = _lines(self.content, self.name, self.first_line)
        row = 0
        while part := list(islice(lines, rows_each)):
            yield self._table(part, row)
            row += len(part)

    def _table(
        self, lines: list[bytes], row: int
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.bool_] | None]:
        commas = self.fields - 1
        for index, line in enumerate(lines):
            if line.count(b",") != commas:
                raise RecordingError(
                    self.place(row + index),
                    f"{line.count(b',') + 1} fields in {excerpt(line.decode('latin-1').strip())}",
                    f"{self.fields} fields (number, stamp, analogue, digital)",
                    _REMEDY,
                )
        joined = b",".join(lines)
        try:
            # Python's own grammar allows 1_0; the format does not.
            flat = [] if b"_" in joined else list(map(float, joined.split(b",")))
        except ValueError:
            flat = []
        empty = None
        if not flat:
            flat, empty = self._slowly(lines, row)
        table = np.array(flat, dtype=np.float64).reshape(len(lines), self.fields)
        self._check_numbers(table[:, 0], row)
        return table, empty

    def _slowly(self, lines: list[bytes], row: int) -> tuple[list[float], npt.NDArray[np.bool_]]:
        """Field by field: an empty analogue value or stamp is missing, all else is refused."""
        flat: list[float] = []
        empty = np.zeros((len(lines), self.fields), dtype=np.bool_)
        for index, line in enumerate(lines):
            for field, text in enumerate(line.split(b",")):
                may_be_empty = 1 <= field < 2 + self.analogue
                if may_be_empty and not text.strip(_BLANK):
                    empty[index, field] = True
                    flat.append(np.nan)
                    continue
                flat.append(self._number(text, row + index, field))
        return flat, empty

    def _number(self, text: bytes, row: int, field: int) -> float:
        try:
            if b"_" not in text:
                return float(text)
        except ValueError:
            pass
        raise RecordingError(
            f"{self.place(row)} field {field + 1}",
            f"found {excerpt(text.decode('latin-1').strip())}",
            "a decimal number, for an analogue value also nothing or 99999 where it is missing",
            _REMEDY,
        )

    def _check_numbers(self, number: npt.NDArray[np.float64], row: int) -> None:
        fits = (number >= 0) & (number < 2**53) & (number == np.floor(number))
        if not fits.all():
            bad = int(np.argmin(fits))
            raise RecordingError(
                f"{self.place(row + bad)} field 1",
                f"sample number is {number[bad]:g}",
                "a whole number that counts up",
                _REMEDY,
            )


def _lines(content: Bytes, name: str, first_line: int) -> Iterator[bytes]:
    """Lines without their ends."""
    rest, seen = b"", 0
    for start in range(0, content.shape[0], READ_BYTES):
        lines = (rest + content[start : start + READ_BYTES].tobytes()).split(b"\n")
        rest = lines.pop()
        if len(rest) > LINE_BYTES_MAX:
            raise RecordingError(
                f"{name} line {first_line + seen + len(lines)}",
                f"a line longer than {LINE_BYTES_MAX} bytes",
                "lines that end with LF or CRLF",
                "check the file type: this may be binary",
            )
        seen += len(lines)
        yield from lines
    if rest:
        yield rest


def ascii_rows(
    content: Bytes, header: Header, columns: Columns, name: str, first_line: int = 1
) -> AsciiRows:
    """The rows in a buffer; more lines than declared are refused, fewer are cut short.

    A last line without its end is taken only where it is the last one declared and has all its
    fields: otherwise its last digits may have been lost.
    """
    fields = 2 + len(header.analogue) + len(header.digital)
    start = 3 if content[:3].tobytes() == b"\xef\xbb\xbf" else 0
    end, terminated = _end(content, start)
    count = int(_count_newlines(content[start:end])) + (end > start)
    if not terminated:
        last = start + _last_newline(content[start:end])
        reaches = max(count, _covered(content[start:end])) >= header.rows
        if not (reaches and _is_whole(content[last:end].tobytes(), fields)):
            end, count = last, count - 1
    if count > header.rows:
        raise RecordingError(
            f"{name} line {first_line + header.rows}",
            f"{count} lines, but {header.rows} rows are declared",
            f"{header.rows} lines",
            "check that the two files belong together",
        )
    if count <= 0:
        raise RecordingError(
            name, "no whole row", f"{header.rows} lines", "fetch the file again, it was cut"
        )
    whole = max(count, _covered(content[start:end])) >= header.rows
    cut = "" if whole else f"{name} is cut short: {count} whole rows, {header.rows} declared"
    return AsciiRows(
        name, content[start:end], fields, len(header.analogue), columns, count, first_line, cut
    )


def _is_whole(line: bytes, fields: int) -> bool:
    """Whether a last line without its end has all its fields, the last one a number."""
    texts = line.split(b",")
    try:
        float(texts[-1])
    except ValueError:
        return False
    return len(texts) == fields


def _end(content: Bytes, start: int) -> tuple[int, bool]:
    """End of the text without blank rest, and whether its last line was ended."""
    end, terminated = int(content.shape[0]), False
    while end > start:
        tail = content[max(start, end - READ_BYTES) : end].tobytes()
        kept = tail.rstrip(_BLANK)
        terminated = terminated or b"\n" in tail[len(kept) :]
        end -= len(tail) - len(kept)
        if kept:
            break
    return end, terminated


def _count_newlines(content: Bytes) -> int:
    return sum(
        int(np.count_nonzero(content[i : i + READ_BYTES] == 10))
        for i in range(0, content.shape[0], READ_BYTES)
    )


def _last_newline(content: Bytes) -> int:
    """Index of the last line's beginning, less its newline; 0 where there is one line only."""
    tail_start = max(0, content.shape[0] - LINE_BYTES_MAX)
    return max(0, int(tail_start) + content[tail_start:].tobytes().rfind(b"\n"))


def _covered(content: Bytes) -> int:
    """Samples from the first to the last line by their numbers; 0 where they cannot be read."""
    head = content[:LINE_BYTES_MAX].tobytes().split(b",", 1)[0]
    last = _last_newline(content)
    tail = content[last:].tobytes().lstrip(b"\n").split(b",", 1)[0]
    try:
        return int(float(tail)) - int(float(head)) + 1
    except (ValueError, OverflowError):
        return 0
