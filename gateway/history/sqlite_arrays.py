"""Rows that units sent, as columns of whole numbers, for those who read years of them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain

import numpy as np

from edge.records import IntervalRow, Span, WeatherRow
from gateway.history.chunks import ABSENT, Ints
from gateway.history.columns import TABLE_OF, Table
from gateway.history.loaded import Columns
from gateway.history.sqlite_loaded import SqliteLoadedRows

SUMMING = f"span IN (SELECT id FROM words WHERE word IN ('{Span.MINUTE}', '{Span.MERGED}'))"
"""Rows that sum: no ten-second rows."""

_TABLES: dict[Columns, Table] = {
    Columns.INTERVAL: TABLE_OF[IntervalRow],
    Columns.WEATHER: TABLE_OF[WeatherRow],
}


class SqliteArrays(SqliteLoadedRows):
    """Reads live rows by columns; a column that live rows do not have is ABSENT throughout."""

    def live_columns(
        self, kind: Columns, insulator: str, names: Sequence[str], start_us: int, end_us: int
    ) -> dict[str, Ints]:
        """Chosen columns and `start_us`, in order of time."""
        table = _TABLES[kind]
        wanted = tuple(dict.fromkeys(("start_us", *names)))
        known = [name for name in wanted if name in table.columns]
        cells = ", ".join(f"coalesce({name}, {ABSENT + 1} - 1)" for name in known)
        where, given = "start_us >= ? AND start_us < ?", [start_us, end_us]
        if kind is Columns.INTERVAL:
            where = f"insulator = ? AND {where} AND {SUMMING}"
            given.insert(0, self.number(insulator))
        rows = self.ask(f"SELECT {cells} FROM {table.name} WHERE {where} ORDER BY start_us", *given)
        flat = np.fromiter(chain.from_iterable(rows), np.int64)
        across = flat.reshape(-1, len(known)).T
        columns = {
            name: np.ascontiguousarray(column) for name, column in zip(known, across, strict=True)
        }
        nothing = np.full(across.shape[1], ABSENT)
        return {name: columns.get(name, nothing) for name in wanted}

    def live_extent_us(self, kind: Columns) -> tuple[int, int] | None:
        """From the first start to the last end of the rows that units sent."""
        name = _TABLES[kind].name
        groups = "SELECT insulator FROM insulators" if kind is Columns.INTERVAL else "SELECT 0"
        where = "insulator = ?" if kind is Columns.INTERVAL else "0 = ?"
        edges = [
            self.ask(
                f"SELECT start_us, start_us + duration_us FROM {name} WHERE {where} "
                f"ORDER BY start_us {order} LIMIT 1",
                number,
            ).fetchone()
            for (number,) in self.ask(groups).fetchall()
            for order in ("ASC", "DESC")
        ]
        found = [edge for edge in edges if edge is not None]
        return (min(edge[0] for edge in found), max(edge[1] for edge in found)) if found else None
