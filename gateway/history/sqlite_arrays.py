"""Rows that units sent, as columns of whole numbers, for those who read years of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain

import numpy as np

from edge.records import IntervalRow, Span, WeatherRow
from gateway.history.chunks import ABSENT, WEEK_US, Ints
from gateway.history.columns import TABLE_OF, Table
from gateway.history.loaded import Columns
from gateway.history.sqlite_loaded import SqliteLoadedRows, joined_weeks

SUMMING = f"span IN (SELECT id FROM words WHERE word IN ('{Span.MINUTE}', '{Span.MERGED}'))"
"""Rows that sum: no ten-second rows."""

_TABLES: dict[Columns, Table] = {
    Columns.INTERVAL: TABLE_OF[IntervalRow],
    Columns.WEATHER: TABLE_OF[WeatherRow],
}


def _spans_between(weeks: Sequence[int], start_us: int, end_us: int) -> Iterator[tuple[int, int]]:
    """What lies in [start, end) outside these weeks, which are in order."""
    at = start_us
    for week in weeks:
        if at < week * WEEK_US:
            yield at, min(week * WEEK_US, end_us)
        at = max(at, (week + 1) * WEEK_US)
    if at < end_us:
        yield at, end_us


class SqliteArrays(SqliteLoadedRows):
    """Reads live rows by columns; a column that live rows do not have is ABSENT throughout."""

    def live_columns(
        self, kind: Columns, insulator: str, names: Sequence[str], start_us: int, end_us: int
    ) -> dict[str, Ints]:
        """Chosen columns and `start_us`, in order of time."""
        wanted = tuple(dict.fromkeys(("start_us", *names)))
        given = (kind, insulator, wanted)
        if kind is not Columns.INTERVAL:
            return self._single_rows(*given, start_us, end_us)
        packed = self.weeks_of(Columns.PACKED, insulator, wanted, start_us, end_us)
        weeks = {week: columns for (week, _), columns in packed.items()}
        pieces = [*weeks.values()]
        for first, after in _spans_between(sorted(weeks), start_us, end_us):
            pieces.append(self._single_rows(*given, first, after))
        return joined_weeks(pieces, wanted, start_us, end_us)

    def _single_rows(
        self, kind: Columns, insulator: str, wanted: Sequence[str], start_us: int, end_us: int
    ) -> dict[str, Ints]:
        """From the table of rows, row by row."""
        table = _TABLES[kind]
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
