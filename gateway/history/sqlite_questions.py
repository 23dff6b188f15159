"""Questions to a site's SQLite file, words spelled out, and lines as they were sent."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TypeVar, cast

from edge.records import IntervalRow, Record, Stream
from edge.wire import read_checked
from gateway.history.columns import TABLE_OF, TABLE_OF_KIND, Column, Table, from_row, plain_body
from gateway.history.connection import Connection, Rows
from gateway.history.store import PAGE_MAX, Entry, HistoryFault, Of, StreamKey

Kind = TypeVar("Kind", bound=Record)

WORDS_REMEMBERED_MAX = 50_000
"""Words remembered between readers of a site; past it they are forgotten and asked for again."""

_LINE_COLUMNS = "l.seq, l.digest, l.boot, l.clock, l.t_boot_ns, l.t_utc_us, l.unread, l.body"
_BY_LINE = "r.stream_id = l.stream_id AND r.seq = l.seq"
_BY_START = (
    f"r.insulator = l.insulator AND r.start_us = l.start_us AND r.span = l.span AND {_BY_LINE}"
)


def columns_of(table: Table) -> str:
    """A table's columns, as asked for of `r`."""
    return ", ".join(f"r.{column}" for column in table.columns)


class SqliteQuestions:
    """A read-only connection. `words` is remembered between the readers of a site."""

    JOIN_IN_ORDER = "CROSS JOIN"
    """Lines first, then their rows: SQLite keeps to the order of a cross join."""

    def __init__(self, connection: Connection, path: Path | str, words: dict[int, str]) -> None:
        self._connection = connection
        self._path = path
        self._words = words

    def close(self) -> None:
        """Ends the connection."""
        self._connection.close()

    def ask(self, query: str, *given: object) -> Rows:
        try:
            return self._connection.execute(query, given)
        except sqlite3.Error as fault:
            raise HistoryFault(f"history {self._path}: {fault}") from fault

    def spell(self, number: int) -> str:
        found = self._words.get(number)
        if found is None:
            found = str(self.ask("SELECT word FROM words WHERE id = ?", number).fetchone()[0])
            if len(self._words) >= WORDS_REMEMBERED_MAX:
                self._words.clear()
            self._words[number] = found
        return found

    def number(self, word: str) -> int:
        row = self.ask("SELECT id FROM words WHERE word = ?", word).fetchone()
        return -1 if row is None else int(row[0])

    def stream_id(self, key: StreamKey) -> int:
        row = self.ask(
            "SELECT stream_id FROM marks WHERE unit = ? AND epoch = ? AND stream = ?",
            key.unit,
            key.epoch,
            key.stream.value,
        ).fetchone()
        return -1 if row is None else int(row[0])

    def of(self, kind: type[Kind], where: str, *given: object) -> list[Of[Kind]]:
        table = TABLE_OF[kind]
        rows = self.ask(
            f"SELECT m.unit, m.epoch, m.stream, r.seq, {columns_of(table)} "
            f"FROM {table.name} r JOIN marks m ON m.stream_id = r.stream_id WHERE {where}",
            *given,
        )
        return [
            Of(
                StreamKey(unit, epoch, Stream(stream)),
                seq,
                cast(Kind, from_row(table, cells, self.spell)),
            )
            for unit, epoch, stream, seq, *cells in rows
        ]

    def lines(self, key: StreamKey, after: int = 0, limit: int = PAGE_MAX) -> list[Entry]:
        """Lines of a stream in order, body for body as they were sent."""
        stream_id = self.stream_id(key)
        span = self.ask(
            "SELECT seq, kind FROM lines WHERE stream_id = ? AND seq > ? ORDER BY seq LIMIT ?",
            stream_id,
            after,
            min(limit, PAGE_MAX),
        ).fetchall()
        if not span:
            return []
        found: list[Entry] = []
        for kind in {kind for _, kind in span}:
            found.extend(self._lines_of(key, stream_id, self.spell(kind), span[0][0], span[-1][0]))
        return sorted(found, key=lambda entry: entry.seq)

    def _lines_of(
        self, key: StreamKey, stream_id: int, kind: str, first: int, last: int
    ) -> Iterator[Entry]:
        table = TABLE_OF_KIND.get(kind)
        extra, join = "", ""
        if table is not None:
            on = _BY_START if table.record is IntervalRow else _BY_LINE
            extra, join = f", {columns_of(table)}", f"{self.JOIN_IN_ORDER} {table.name} r ON {on}"
        rows = self.ask(
            f"SELECT {_LINE_COLUMNS}{extra} FROM lines l {join} "
            "WHERE l.stream_id = ? AND l.seq BETWEEN ? AND ? AND l.kind = ?",
            stream_id,
            first,
            last,
            self.number(kind),
        )
        for seq, digest, boot, clock, t_boot_ns, t_utc_us, unread, body, *cells in rows:
            record = None if table is None else self._record(table, cells, body)
            whole = body if body is not None else plain_body(cast(Record, record))
            names = self.spell(boot), self.spell(clock)
            yield Entry(key, seq, digest, whole, record, *names, t_boot_ns, t_utc_us, unread or "")

    def _record(self, table: Table, cells: Sequence[Column], body: bytes | None) -> Record:
        return from_row(table, cells, self.spell) if body is None else read_checked(body)
