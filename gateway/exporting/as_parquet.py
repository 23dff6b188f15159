"""Rows as Parquet: decimals of their resolution, UTC timestamps, null where not measured.

The library is large and only this needs it, so it is imported late.
"""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from gateway.exporting.rows import COLUMNS, Out, Rows
from gateway.history.chunks import ABSENT, Ints

DIGITS = 38
"""Widest decimals that Parquet readers have in common; ours need 19."""


class ParquetSink:
    """Writes one file, a row group for each piece of an insulator."""

    def __init__(self, path: Path) -> None:
        self._arrow = import_module("pyarrow")
        self._schema = self._arrow.schema([(one.name, self._type(one)) for one in COLUMNS])
        self._writer = import_module("pyarrow.parquet").ParquetWriter(path, self._schema)

    def _type(self, column: Out) -> Any:
        if column.name == "start":
            return self._arrow.timestamp("us", tz="UTC")
        if column.places is None:
            return self._arrow.string()
        if column.places == 0:
            return self._arrow.int64()
        return self._arrow.decimal128(DIGITS, column.places)

    def take(self, rows: Rows) -> None:
        """Writes these rows."""
        arrays = [self._array(rows, column.name, column.places) for column in COLUMNS]
        self._writer.write_table(self._arrow.Table.from_arrays(arrays, schema=self._schema))

    def end(self) -> None:
        """Writes the file's end; without it no reader takes the file."""
        self._writer.close()

    def _array(self, rows: Rows, name: str, places: int | None) -> Any:
        count = rows.start_us.shape[0]
        if name == "start":
            return self._arrow.array(rows.start_us, self._arrow.timestamp("us", tz="UTC"))
        if places is not None:
            return self._numbers(rows.numbers[name], places)
        words = {"state": rows.state, "flags": rows.flags}
        texts = words.get(name, [rows.insulator if name == "insulator" else rows.origin] * count)
        return self._arrow.array([text or None for text in texts], self._arrow.string())

    def _numbers(self, units: Ints, places: int) -> Any:
        """Whole numbers, or decimals made of the very bits of whole numbers of 128 bits."""
        absent = units == ABSENT
        whole = self._arrow.array(units, self._arrow.int64(), mask=absent)
        if places == 0:
            return whole
        wide = np.stack((units, units >> 63), axis=1).astype("<i8")
        return self._arrow.Array.from_buffers(
            self._arrow.decimal128(DIGITS, places),
            units.shape[0],
            [whole.buffers()[0], self._arrow.py_buffer(wide.tobytes())],
        )
