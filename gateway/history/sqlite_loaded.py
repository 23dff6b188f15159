"""Rows from elsewhere in a site's SQLite file; see SiteLoader and LoadedRows."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

import numpy as np

from gateway.history.chunks import (
    ABSENT,
    CHUNK_ROWS_MAX,
    WEEK_US,
    Ints,
    merged,
    pack,
    unpack,
)
from gateway.history.loaded import SITE, Cell, Columns, NoteTable, Taken
from gateway.history.sqlite_questions import SqliteQuestions
from gateway.history.sqlite_write import SqliteWriter
from gateway.history.thinning import TICK_US

_AT = "kind = ? AND insulator = ? AND source = ? AND week = ?"


class SqliteLoader(SqliteWriter):
    """Adds rows from elsewhere."""

    @contextmanager
    def together(self) -> Iterator[None]:
        """One transaction: rows of a file land as a whole or not at all."""
        with self._one_at_a_time, self._transaction():
            yield

    def number(self, word: str) -> int:
        """The number of a word in the site's word list."""
        return self._intern(word)

    def add_columns(
        self, kind: Columns, insulator: str, source: str, columns: Mapping[str, Ints]
    ) -> Taken:
        """Rows by columns, week by week beside those that are there."""
        start = columns["start_us"]
        added, differs = np.zeros(start.shape[0], np.bool_), np.zeros(start.shape[0], np.bool_)
        weeks = start // WEEK_US
        for week in np.unique(weeks).tolist():
            chosen = np.flatnonzero(weeks == week)
            key = (self.number(kind), self.number(insulator), self.number(source), week)
            there = self._week(key)
            if kind is Columns.INTERVAL and self._is_thinned(key):
                chosen = chosen[~np.isin(start[chosen] // TICK_US, there["start_us"] // TICK_US)]
                if not chosen.size:
                    continue
            new = {name: column[chosen] for name, column in columns.items()}
            kept, taken, differ = merged(there, new)
            if kept["start_us"].shape[0] > CHUNK_ROWS_MAX:
                differ, taken = np.ones_like(differ), np.zeros_like(taken)
            added[chosen], differs[chosen] = taken, differ
            if taken.any():
                self._put_week(key, kept)
        return Taken(added, differs)

    def _is_thinned(self, key: tuple[int, int, int, int]) -> bool:
        """Whether the week's minutes have become ticks: a minute of a tick that is there was there
        already."""
        found = self._connection.execute(
            "SELECT 1 FROM thinned WHERE insulator = ? AND source = ? AND week = ?", key[1:]
        ).fetchone()
        return found is not None

    def _week(self, key: tuple[int, int, int, int]) -> dict[str, Ints]:
        rows = self._connection.execute(
            f"SELECT w.word, l.cells FROM loaded l JOIN words w ON w.id = l.name WHERE {_AT}", key
        )
        return {name: unpack(cells) for name, cells in rows}

    def _put_week(self, key: tuple[int, int, int, int], columns: Mapping[str, Ints]) -> None:
        self._connection.execute(f"DELETE FROM loaded WHERE {_AT}", key)
        given = {name: column for name, column in columns.items() if (column != ABSENT).any()}
        self._connection.executemany(
            "INSERT INTO loaded (kind, insulator, source, week, name, cells) "
            "VALUES (?, ?, ?, ?, ?, ?)",
            [(*key, self.number(name), pack(column)) for name, column in given.items()],
        )

    def add_note(self, table: NoteTable, source: str, row: Mapping[str, Cell]) -> bool | None:
        """One row that people wrote."""
        cells = {
            name: self.number(str(row[name])) if name in table.words else row[name]
            for name in table.columns
        }
        key = [cells[name] for name in table.key]
        where = " AND ".join(f"{name} = ?" for name in (*table.key, "source"))
        found = self._connection.execute(
            f"SELECT {', '.join(table.rest)} FROM {table.name} WHERE {where}",
            [*key, self.number(source)],
        ).fetchone()
        if found is not None:
            return False if list(found) == [cells[name] for name in table.rest] else None
        columns = (*table.columns, "source")
        self._connection.execute(
            f"INSERT INTO {table.name} ({', '.join(columns)}) "
            f"VALUES ({', '.join('?' * len(columns))})",
            [*cells.values(), self.number(source)],
        )
        return True


class SqliteLoadedRows(SqliteQuestions):
    """Reads what was loaded."""

    def loaded_insulators(self) -> list[str]:
        """Names of the insulators that have loaded rows."""
        return self._names(Columns.INTERVAL)

    def forecast_issues(self) -> list[str]:
        """When the loaded forecasts were issued, RFC 3339 UTC, in order."""
        return self._names(Columns.FORECAST)

    def _names(self, kind: Columns) -> list[str]:
        rows = self.ask(
            "SELECT word FROM words WHERE id IN (SELECT insulator FROM loaded WHERE kind = ?)",
            self.number(kind),
        )
        return sorted(row[0] for row in rows)

    def extent_us(self, kind: Columns) -> tuple[int, int] | None:
        """From the first start to the last end of the loaded rows of this kind."""
        number = self.number(kind)
        first, last = self.ask(
            "SELECT min(week), max(week) FROM loaded WHERE kind = ?", number
        ).fetchone()
        if first is None:
            return None
        begins, ends = [], []
        for week, key in self._keys(number, first, last):
            start = self._cells(key, week, "start_us")
            if week == first:
                begins.append(int(start[0]))
            if week == last:
                ends.append(int(np.max(start + self._cells(key, week, "duration_us"))))
        return min(begins), max(ends)

    def _keys(self, kind: int, *weeks: int) -> Iterator[tuple[int, tuple[int, int, int]]]:
        rows = self.ask(
            "SELECT DISTINCT week, insulator, source FROM loaded WHERE kind = ? AND week IN (?, ?)",
            kind,
            *weeks,
        ).fetchall()
        for week, insulator, source in rows:
            yield week, (kind, insulator, source)

    def _cells(self, key: tuple[int, int, int], week: int, name: str) -> Ints:
        row = self.ask(
            f"SELECT cells FROM loaded WHERE {_AT} AND name = ?", *key, week, self.number(name)
        ).fetchone()
        return unpack(row[0])

    def loaded_columns(
        self,
        kind: Columns,
        insulator: str,
        names: Sequence[str],
        start_us: int,
        end_us: int,
        source: str | None = None,
    ) -> dict[str, Ints]:
        """Chosen columns and `start_us`, in order of time; of one source or of all."""
        wanted = tuple(dict.fromkeys(("start_us", *names)))
        weeks = self.weeks_of(kind, insulator, wanted, start_us, end_us, source)
        return joined_weeks(list(weeks.values()), wanted, start_us, end_us)

    def weeks_of(
        self,
        kind: Columns,
        insulator: str,
        wanted: Sequence[str],
        start_us: int,
        end_us: int,
        source: str | None = None,
    ) -> dict[tuple[int, int], dict[str, Ints]]:
        """Columns of whole weeks by (week, source) that reach into [start, end), in order."""
        numbers = {self.number(name): name for name in wanted}
        weeks: dict[tuple[int, int], dict[str, Ints]] = {}
        only = "" if source is None else f"AND source = {self.number(source)} "
        for week, origin, name, cells in self.ask(
            f"SELECT week, source, name, cells FROM loaded WHERE kind = ? AND insulator = ? {only}"
            f"AND week BETWEEN ? AND ? AND name IN ({', '.join('?' * len(numbers))}) "
            "ORDER BY week, source",
            self.number(kind),
            self.number(insulator),
            start_us // WEEK_US,
            (end_us - 1) // WEEK_US,
            *numbers,
        ):
            weeks.setdefault((week, origin), {})[numbers[name]] = unpack(cells)
        return weeks

    def notes(self, table: NoteTable, start_us: int, end_us: int) -> list[dict[str, Cell]]:
        """Rows that people wrote, in order of time."""
        rows = self.ask(
            f"SELECT {', '.join(table.columns)} FROM {table.name} WHERE start_us >= ? "
            f"AND start_us < ? ORDER BY start_us, {', '.join(table.key)}, source",
            start_us,
            end_us,
        ).fetchall()
        return [
            {
                name: self.spell(cell) if name in table.words else cell
                for name, cell in zip(table.columns, row, strict=True)
            }
            for row in rows
        ]


def joined_weeks(
    weeks: list[dict[str, Ints]], names: Sequence[str], start_us: int, end_us: int
) -> dict[str, Ints]:
    """One after another, cut to [start, end) and in order of time."""
    counts = [week["start_us"].shape[0] for week in weeks]
    columns = {name: _column(weeks, counts, name) for name in names}
    start = columns["start_us"]
    inside = (start >= start_us) & (start < end_us)
    if not inside.all():
        columns = {name: column[inside] for name, column in columns.items()}
    start = columns["start_us"]
    if start.size and (np.diff(start) < 0).any():
        order = np.argsort(start, kind="stable")
        columns = {name: column[order] for name, column in columns.items()}
    return columns


def _column(weeks: list[dict[str, Ints]], counts: list[int], name: str) -> Ints:
    """The column of all weeks; one that no week has takes no memory."""
    if not any(name in week for week in weeks):
        return np.broadcast_to(np.int64(ABSENT), sum(counts))
    pieces = [
        week[name] if name in week else np.full(count, ABSENT)
        for week, count in zip(weeks, counts, strict=True)
    ]
    return np.concatenate(pieces)


assert SITE == ""  # weather's insulator in the word list
