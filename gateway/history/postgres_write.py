"""A writer of a site in PostgreSQL. Several programs may write one site, each its own units.

What several could spoil for one another is kept apart by locks of the database, all of which end
with the transaction: marks by their rows; new words, new tables and the packed columns by advisory
locks. A commit holds the columns' lock together with other commits; who reads a week and packs it
holds it alone, so that no row comes into a week while it is packed.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager

from edge.records import CapturePart, IntervalRow, Record
from gateway.history.chunks import WEEK_US
from gateway.history.columns import Table, bytes_of
from gateway.history.connection import Connection
from gateway.history.loaded import Columns
from gateway.history.postgres_connection import PostgresConnection
from gateway.history.postgres_schema import (
    LOCK_COLUMNS,
    LOCK_WORDS,
    lock,
    make_part,
    make_tables,
    part_of,
    parts_there,
)
from gateway.history.sqlite_marks import conflict
from gateway.history.sqlite_thinning import SqliteThinner
from gateway.history.sqlite_write import Row, SqliteWriter
from gateway.history.store import Commit, Entry, StreamKey

Fence = Callable[[Connection, Collection[str]], None]
"""Asked within each commit whether its units are still the writer's; raises where they are not."""

_MARKS = """
SELECT m.stream_id, m.unit, m.epoch, m.stream, m.upto FROM marks m
JOIN unnest(?::text[], ?::text[], ?::text[]) AS a(unit, epoch, stream)
ON m.unit = a.unit AND m.epoch = a.epoch AND m.stream = a.stream ORDER BY m.stream_id FOR UPDATE
"""
_NEW_MARKS = """
INSERT INTO marks (unit, epoch, stream, upto, received_us)
SELECT a.unit, a.epoch, a.stream, a.upto, ? FROM
unnest(?::text[], ?::text[], ?::text[], ?::bigint[]) WITH ORDINALITY
AS a(unit, epoch, stream, upto, number) ORDER BY a.number
ON CONFLICT DO NOTHING RETURNING stream_id, unit, epoch, stream
"""
_MOVED_MARKS = """
UPDATE marks SET upto = a.upto, received_us = ? FROM unnest(?::bigint[], ?::bigint[])
AS a(stream_id, upto) WHERE marks.stream_id = a.stream_id
"""
_DROPPED_COPIES = """
DELETE FROM loaded l USING unnest(?::bigint[], ?::bigint[]) AS a(insulator, week)
WHERE l.kind = ? AND l.insulator = a.insulator AND l.week = a.week
"""


class PostgresWriter(SqliteThinner):
    """schema: the site's. fence: None where the writer writes alone."""

    _connection: PostgresConnection

    def __init__(
        self, connection: PostgresConnection, path: str, schema: str, fence: Fence | None
    ) -> None:
        self._schema = schema
        self._fence = fence
        self._parts: set[int] = set()
        self._unpacked: set[tuple[int, int]] = set()
        super().__init__(connection, path)

    def _make_tables(self) -> None:
        make_tables(self._connection, self._schema)

    def _give_back(self) -> None:
        """The server's memory is its own."""

    def append(self, commit: Commit) -> None:
        """All of a commit or nothing, durable on return."""
        with self._one_at_a_time:
            rows = (one.record for one in commit.entries if isinstance(one.record, IntervalRow))
            self._make_parts({part_of(row.start_us) for row in rows})
            self._in_one(lambda: self._write(commit))

    def _make_parts(self, wanted: set[int]) -> None:
        """Before the commit: a new table waits for all who write, and must hold up none of them."""
        if wanted <= self._parts:
            return
        with self._transaction():
            self._parts = parts_there(self._connection, self._schema)
            for part in sorted(wanted - self._parts):
                make_part(self._connection, self._schema, part)
        self._parts |= wanted

    def _roll_back(self) -> None:
        self._parts = set()
        super()._roll_back()

    @contextmanager
    def together(self) -> Iterator[None]:
        """One transaction, in which no other program touches rows or columns of the site."""
        with super().together():
            lock(self._connection, LOCK_COLUMNS, self._schema)
            yield

    def _write(self, commit: Commit) -> None:
        if self._fence is not None:
            self._fence(self._connection, {key.unit for key in commit.marks})
        rows = [one.record for one in commit.entries if isinstance(one.record, IntervalRow)]
        self._unpacked = set()
        if rows:
            lock(self._connection, LOCK_COLUMNS, self._schema, shared=True)
            self._unpack({(self._intern(row.insulator), row.start_us // WEEK_US) for row in rows})
        super()._write(commit)

    def _unpack(self, weeks: set[tuple[int, int]]) -> None:
        """Takes away the packed copies of weeks into which rows come."""
        insulators, numbers = [one for one, _ in weeks], [one for _, one in weeks]
        given = (insulators, numbers, self.number(Columns.PACKED))
        self._connection.execute(_DROPPED_COPIES, given)
        self._unpacked |= weeks

    def _place(self, row: IntervalRow) -> tuple[int, int, int]:
        found = SqliteWriter._place(self, row)
        week = (found[0], row.start_us // WEEK_US)
        if week not in self._unpacked:
            self._unpack({week})
        part = part_of(row.start_us)
        if part not in self._parts:  # a corrected clock
            make_part(self._connection, self._schema, part)
            self._parts.add(part)
        return found

    def _move(self, commit: Commit) -> dict[StreamKey, int]:
        """All marks in three questions, their rows locked in one order."""
        keys = list(commit.marks)
        names = [(key.unit, key.epoch, key.stream.value) for key in keys]
        found = {
            (unit, epoch, stream): (stream_id, upto)
            for stream_id, unit, epoch, stream, upto in self._connection.execute(
                _MARKS, _across(names, 3)
            )
        }
        for key, name in zip(keys, names, strict=True):
            upto = found[name][1] if name in found else None
            if upto != commit.marks[key].before:
                raise conflict(key, upto, commit.marks[key])
        numbers = {name: stream_id for name, (stream_id, _) in found.items()}
        new = [
            (*name, commit.marks[key].upto)
            for key, name in zip(keys, names, strict=True)
            if name not in found
        ]
        if new:
            made = self._connection.execute(_NEW_MARKS, (commit.at_us, *_across(new, 4)))
            numbers |= {(unit, epoch, stream): number for number, unit, epoch, stream in made}
        moved = [
            (numbers[name], commit.marks[key].upto)
            for key, name in zip(keys, names, strict=True)
            if name in found
        ]
        if moved:
            self._connection.execute(_MOVED_MARKS, (commit.at_us, *_across(moved, 2)))
        for key, name in zip(keys, names, strict=True):
            if name not in numbers:
                raise conflict(key, 0, commit.marks[key])
        return {key: numbers[name] for key, name in zip(keys, names, strict=True)}

    def _add(self, table: str, columns: Sequence[str], rows: Sequence[Row]) -> None:
        self._connection.add(table, columns, rows)

    def _number(self, word: str) -> int:
        query = "SELECT id FROM words WHERE word = ?"
        row = self._connection.execute(query, (word,)).fetchone()
        if row is None:
            lock(self._connection, LOCK_WORDS, self._schema)
            return super()._number(word)
        return int(row[0])

    def _row(self, table: Table, record: Record) -> Row:
        """A part that is not base64 has no bytes; its body is kept instead."""
        row = super()._row(table, record)
        if isinstance(record, CapturePart):
            return [None if isinstance(cell, str) else cell for cell in row]
        return row

    def _line(self, stream_id: int, entry: Entry, where: tuple[int | None, ...]) -> Row:
        line = list(super()._line(stream_id, entry, where))
        record = entry.record
        if isinstance(record, CapturePart) and isinstance(bytes_of(record.content_b64), str):
            line[-1] = entry.body
        return line


def _across(rows: Sequence[tuple[object, ...]], width: int) -> list[list[object]]:
    """Rows as one list a column."""
    return [[row[n] for row in rows] for n in range(width)]
