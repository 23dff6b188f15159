"""Rows as CSV: exact decimals, RFC 3339 UTC with microseconds, empty where not measured."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from typing import TextIO

import numpy as np

from gateway.exporting.rows import COLUMNS, Rows
from gateway.history.chunks import ABSENT, Ints


class CsvSink:
    """Writes into an open text stream."""

    def __init__(self, stream: TextIO) -> None:
        self._writer = csv.writer(stream, lineterminator="\n")
        self._writer.writerow([column.name for column in COLUMNS])

    def take(self, rows: Rows) -> None:
        """Writes these rows."""
        self._writer.writerows(zip(*_texts(rows), strict=True))


def _texts(rows: Rows) -> Iterator[list[str]]:
    count = rows.start_us.shape[0]
    words = {
        "insulator": [rows.insulator] * count,
        "start": time_texts(rows.start_us),
        "origin": [rows.origin] * count,
        "state": rows.state,
        "flags": rows.flags,
    }
    for column in COLUMNS:
        if column.places is None:
            yield words[column.name]
        else:
            yield decimal_texts(rows.numbers[column.name], column.places)


def time_texts(instants_us: Ints) -> list[str]:
    """RFC 3339 UTC."""
    stamps = np.datetime_as_string(instants_us.astype("datetime64[us]"), unit="us")
    return [f"{stamp}Z" for stamp in stamps.tolist()]


def decimal_texts(units: Ints, places: int) -> list[str]:
    """Exact decimals of whole numbers; empty where ABSENT."""
    if bool((units == ABSENT).all()):
        return [""] * units.shape[0]
    if places == 0:
        return ["" if one == ABSENT else str(one) for one in units.tolist()]
    return [_decimal(one, places) for one in units.tolist()]


def _decimal(units: int, places: int) -> str:
    if units == ABSENT:
        return ""
    whole, part = divmod(abs(units), 10**places)
    return f"{'-' if units < 0 else ''}{whole}.{part:0{places}d}"
