"""The one writer of a site's SQLite file: rows and marks in one transaction."""

from __future__ import annotations

import sqlite3
import threading
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from sqlite_utils import Database

from edge.records import ClockCorrection, IntervalRow, Loss, Record
from gateway.history.columns import TABLE_OF, TABLES, Column, Table, exact, to_row
from gateway.history.connection import Connection
from gateway.history.migrations import steps
from gateway.history.sqlite_dating import all_dated, move, moved_by
from gateway.history.sqlite_marks import move_mark, read_digests, read_given_up, read_marks
from gateway.history.store import (
    Commit,
    Entry,
    HistoryFault,
    JournalLine,
    Mark,
    MarkConflict,
    StreamKey,
)

REFUSALS_MAX = 500
"""Refused payloads kept a site, at most 64 KiB each; the oldest go first."""

SECURITY_EVENTS_MAX = 10_000
"""Security events kept a site; the oldest go first."""

WORDS_CACHED_MAX = 50_000
"""Words remembered by the writer; past it the memory is emptied and filled again from the file."""

LINE = (
    "stream_id", "seq", "digest", "kind", "boot", "clock", "t_boot_ns", "t_utc_us",
    "insulator", "start_us", "span", "unread", "body",
)  # fmt: skip
"""Columns of the table of lines."""

Row = Sequence[Column]

_COLUMNS = {table.name: ("stream_id", "seq", *table.columns) for table in TABLES}


class SqliteWriter:
    """Appends to one site's file; see SiteWriter. Two threads may append, one at a time."""

    def __init__(self, connection: Connection, path: Path | str) -> None:
        self._connection = connection
        self._path = path
        self._one_at_a_time = threading.Lock()
        self._ended = False
        self._words: dict[str, int] = {}
        self._insulators: set[int] = set()
        self._make_tables()

    def _make_tables(self) -> None:
        assert isinstance(self._connection, sqlite3.Connection)
        steps.apply(Database(self._connection, execute_plugins=False))

    def _give_back(self) -> None:
        """Pages in memory: one writer a site holds them, and the system's cache has them too."""
        self._connection.execute("PRAGMA shrink_memory")

    def close(self) -> None:
        """Ends the connection; the log is written back into the file."""
        with self._one_at_a_time:
            self._ended = True
            self._connection.close()

    def marks(self) -> dict[StreamKey, Mark]:
        """Where each stream stands."""
        with self._told():
            found = read_marks(self._connection)
        self._give_back()
        return found

    def digests(self, key: StreamKey, first: int, last: int) -> dict[int, bytes]:
        """Digests of the stored lines `first` to `last`."""
        with self._told():
            return read_digests(self._connection, key, first, last)

    def given_up(self, key: StreamKey, first: int, last: int) -> list[tuple[int, int]]:
        """First and last number of each loss record that stands for any of `first` to `last`."""
        with self._told():
            return read_given_up(self._connection, key, first, last)

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Faults of the database outside a commit as those of the history."""
        try:
            yield
        except sqlite3.Error as fault:
            raise HistoryFault(f"history {self._path}: {fault}; it must be readable") from fault

    def append(self, commit: Commit) -> None:
        """All of a commit or nothing, durable on return."""
        with self._one_at_a_time:
            self._in_one(lambda: self._write(commit))

    def append_journal(self, lines: Sequence[JournalLine]) -> None:
        """All lines or none, durable on return; they follow on the last one that is there."""
        with self._one_at_a_time:
            if self._ended:
                raise HistoryFault(f"history {self._path}: its writer has ended; start it again")
            self._in_one(lambda: self._write_journal(lines, "alarm_journal"))

    def append_decisions(self, lines: Sequence[JournalLine]) -> None:
        """All lines or none, durable on return; they follow on the last one that is there."""
        with self._one_at_a_time:
            self._in_one(lambda: self._write_journal(lines, "decisions"))

    def _in_one(self, write: Callable[[], None]) -> None:
        with self._transaction():
            write()
        self._give_back()

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            yield
            self._connection.execute("COMMIT")
        except sqlite3.DatabaseError as fault:
            self._roll_back()
            if isinstance(fault, sqlite3.IntegrityError):
                raise  # the marks were checked: a bug, not a full disk
            raise HistoryFault(
                f"history {self._path}: {fault}; nothing was written; free space or repair it"
            ) from fault
        except BaseException:
            self._roll_back()
            raise

    def _roll_back(self) -> None:
        self._words.clear()
        self._insulators.clear()
        if self._connection.in_transaction:
            self._connection.execute("ROLLBACK")

    def _write_journal(self, lines: Sequence[JournalLine], table: str) -> None:
        query = f"SELECT coalesce(max(number), 0) FROM {table}"
        last = int(self._connection.execute(query).fetchone()[0])
        numbers = [line.number for line in lines]
        if numbers != list(range(last + 1, last + 1 + len(lines))):
            raise MarkConflict(
                f"history {self._path}: its {table} ends at {last}; {numbers[:1]} does not "
                "follow on it; another writer was here"
            )
        rows = [(line.number, line.at_us, line.body) for line in lines]
        self._add(table, ("number", "at_us", "body"), rows)

    def _write(self, commit: Commit) -> None:
        streams = self._move(commit)
        self._write_entries(commit.entries, streams)
        self._add(
            "raw_messages",
            ("stream_id", "first", "last", "payload"),
            [(streams[raw.key], raw.first, raw.last, raw.payload) for raw in commit.raw],
        )
        self._connection.executemany(
            "DELETE FROM raw_messages WHERE stream_id = ? AND first = ? AND last = ?",
            [(streams[raw.key], raw.first, raw.last) for raw in commit.placed],
        )
        if commit.refused or commit.events:
            self._write_refused(commit)

    def _add(self, table: str, columns: Sequence[str], rows: Sequence[Row]) -> None:
        """Adds rows that are not there yet."""
        marks = ", ".join("?" * len(columns))
        query = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})"
        self._connection.executemany(query, rows)

    def _move(self, commit: Commit) -> dict[StreamKey, int]:
        """The number of each stream whose mark is moved."""
        return {
            key: move_mark(self._connection, key, move, commit.at_us)
            for key, move in commit.marks.items()
        }

    def _write_entries(self, entries: Sequence[Entry], streams: dict[StreamKey, int]) -> None:
        lines: list[Row] = []
        rows: dict[str, list[Row]] = defaultdict(list)
        for entry in all_dated(self._connection, entries, self._intern):
            stream_id = streams[entry.key]
            where: tuple[int | None, ...] = (None, None, None)
            if entry.record is not None:
                table = TABLE_OF[type(entry.record)]
                row = self._row(table, entry.record)
                rows[table.name].append((stream_id, entry.seq, *row))
                if isinstance(entry.record, IntervalRow):
                    where = self._place(entry.record)
                elif isinstance(entry.record, Loss):
                    self._forget_line(stream_id, entry.seq)
            lines.append(self._line(stream_id, entry, where))
        self._add("lines", LINE, lines)
        for name, batch in rows.items():
            self._add(name, _COLUMNS[name], batch)
        for entry in entries:
            if isinstance(entry.record, ClockCorrection):
                self._correct(entry.key.unit, entry.record)

    def _correct(self, unit: str, correction: ClockCorrection) -> None:
        for moved in moved_by(self._connection, unit, self._intern(correction.boot), correction):
            move(self._connection, moved)
            for start_us in (moved.was_us, moved.start_us):
                self._place(replace(moved.row, start_us=start_us))

    def _line(self, stream_id: int, entry: Entry, where: tuple[int | None, ...]) -> Row:
        record = entry.record
        kept = None if record is not None and exact(record, entry.body) else entry.body
        kind = "" if record is None else record.kind
        return (
            stream_id,
            entry.seq,
            entry.digest,
            self._intern(kind),
            self._intern(entry.boot),
            self._intern(entry.clock),
            entry.t_boot_ns,
            entry.t_utc_us,
            *where,
            entry.unread or None,
            kept,
        )

    def _place(self, row: IntervalRow) -> tuple[int, int, int]:
        insulator = self._intern(row.insulator)
        if insulator not in self._insulators:
            self._connection.execute(
                "INSERT INTO insulators VALUES (?) ON CONFLICT DO NOTHING", (insulator,)
            )
            self._insulators.add(insulator)
        return insulator, row.start_us, self._intern(row.span)

    def _forget_line(self, stream_id: int, seq: int) -> None:
        """A tombstone that has grown comes again under its own number."""
        for table in ("lines", "loss"):
            self._connection.execute(
                f"DELETE FROM {table} WHERE stream_id = ? AND seq = ?", (stream_id, seq)
            )

    def _intern(self, word: str) -> int:
        found = self._words.get(word)
        if found is not None:
            return found
        if len(self._words) >= WORDS_CACHED_MAX:
            self._words.clear()
        self._words[word] = self._number(word)
        return self._words[word]

    def _number(self, word: str) -> int:
        """From the list of words; a new one is added to it."""
        query = "SELECT id FROM words WHERE word = ?"
        row = self._connection.execute(query, (word,)).fetchone()
        if row is None:
            query = "INSERT INTO words (word) VALUES (?) RETURNING id"
            (row,) = self._connection.execute(query, (word,)).fetchall()
        return int(row[0])

    def _row(self, table: Table, record: Record) -> Row:
        return to_row(table, record, self._intern)

    def _write_refused(self, commit: Commit) -> None:
        self._add(
            "refusals",
            ("at_us", "topic", "reason", "text", "payload", "size_bytes"),
            [
                (one.at_us, one.topic, one.reason, one.text, one.payload, one.size_bytes)
                for one in commit.refused
            ],
        )
        self._add(
            "security_events",
            ("at_us", "unit", "event", "detail", "count"),
            [(one.at_us, one.unit, one.event, one.detail, one.count) for one in commit.events],
        )
        for table, most in (("refusals", REFUSALS_MAX), ("security_events", SECURITY_EVENTS_MAX)):
            self._connection.execute(
                f"DELETE FROM {table} WHERE id <= (SELECT max(id) FROM {table}) - ?", (most,)
            )
