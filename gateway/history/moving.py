"""A site moved from one history to another, whatever the databases: every table, row by row.

Numbers of words and streams stay, so rows are copied as they lie. Progress lies in the target, in
the transaction of the rows that it tells of: a move that was cut goes on where it was. The source
is only read. Afterwards both are read in order of their keys and compared: counts, a hash of every
row, and exact sums.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from typing import cast

from edge.records import CapturePart
from gateway.history.columns import TABLES, plain_body
from gateway.history.loaded import NOTE_TABLES
from gateway.history.opening import Histories
from gateway.history.sqlite_read import SqliteReader
from gateway.history.sqlite_thinning import SqliteThinner
from gateway.history.sqlite_write import LINE, Row
from gateway.history.store import SUMMED, HistoryFault

ROWS_AT_A_TIME = 5_000
"""Rows of a table in one transaction and in memory; a cut costs at most so many."""


@dataclass(frozen=True, slots=True)
class Moved:
    """A table to be moved. key: columns that tell its rows apart, in the order of the rows."""

    name: str
    columns: tuple[str, ...]
    key: tuple[str, ...]


def _tables() -> Iterator[Moved]:
    yield Moved("words", ("id", "word"), ("id",))
    marks = ("stream_id", "unit", "epoch", "stream", "upto", "received_us")
    yield Moved("marks", marks, ("stream_id",))
    yield Moved("insulators", ("insulator",), ("insulator",))
    for table in TABLES:
        key = ("insulator", "start_us", "span") if table.name == "interval" else ()
        columns = ("stream_id", "seq", *table.columns)
        yield Moved(table.name, columns, (*key, "stream_id", "seq"))
    yield Moved("lines", LINE, ("stream_id", "seq"))
    kept = ("id", "at_us", "topic", "reason", "text", "payload", "size_bytes")
    yield Moved("refusals", kept, ("id",))
    yield Moved("raw_messages", ("id", "stream_id", "first", "last", "payload"), ("id",))
    events = ("id", "at_us", "unit", "event", "detail", "count")
    yield Moved("security_events", events, ("id",))
    loaded = ("kind", "insulator", "name", "week", "source")
    yield Moved("loaded", (*loaded, "cells"), loaded)
    for note in NOTE_TABLES:
        yield Moved(note.name, (*note.columns, "source"), (*note.key, "source"))
    thinned = ("insulator", "source", "week")
    yield Moved("thinned", thinned, thinned)
    for journal in ("alarm_journal", "decisions"):
        yield Moved(journal, ("number", "at_us", "body"), ("number",))


MOVED = tuple(_tables())


@dataclass(frozen=True, slots=True)
class Compared:
    """A table in source and target."""

    name: str
    rows: tuple[int, int]
    sha256: tuple[str, str]

    @property
    def same(self) -> bool:
        """Whether nothing was lost and nothing was added."""
        return self.rows[0] == self.rows[1] and self.sha256[0] == self.sha256[1]


def move_site(
    source: Histories, target: Histories, site: str, progress: Callable[[str, int], None]
) -> list[Compared]:
    """Moves what is not there yet, then compares. progress: told of a table's rows as they come.
    A move that is not found equal is not ended: it may go on.

    Raises HistoryFault where the target holds something of the site that this did not bring.
    """
    source.writer(site).close()  # brought to the newest shape
    with closing(source.reader(site)) as rows, closing(target.writer(site)) as writer:
        done = writer.begin_move()
        for table in MOVED:
            _copied(rows, writer, table, done.get(table.name), progress)
        with closing(target.reader(site)) as found:
            outcome = [compared(rows, found, table) for table in MOVED]
        if all(one.same for one in outcome):
            writer.end_move()
        return outcome


def sums_of(reader: SqliteReader) -> dict[str, int]:
    """The exact sums over all interval rows of units and ones that are kept thinned, by column."""
    totals = dict.fromkeys(SUMMED, 0)
    for insulator in sorted({*reader.insulators(), *reader.loaded_insulators()}):
        for name, total in reader.exposure(insulator, 0, 1 << 62).items():
            if name in totals:
                totals[name] += total
    return totals


def _copied(
    rows: SqliteReader,
    writer: SqliteThinner,
    table: Moved,
    done: str | None,
    progress: Callable[[str, int], None],
) -> None:
    after = None if done is None else json.loads(done)
    texts = _bodies_of_texts(rows) if table.name == "lines" else {}
    count = 0
    for page in _pages(rows, table, after):
        last = [page[-1][table.columns.index(name)] for name in table.key]
        taken = [_as_kept(table, row, texts) for row in page]
        writer.take_moved(table.name, table.columns, taken, json.dumps(last))
        count += len(page)
        progress(table.name, count)


def _pages(rows: SqliteReader, table: Moved, after: list[object] | None) -> Iterator[list[Row]]:
    key = ", ".join(table.key)
    while True:
        marks = ", ".join("?" * len(table.key))
        where = f"WHERE ({key}) > ({marks}) " if after else ""
        page: list[Row] = rows.ask(
            f"SELECT {', '.join(table.columns)} FROM {table.name} {where}ORDER BY {key} LIMIT ?",
            *(after or ()),
            ROWS_AT_A_TIME,
        ).fetchall()
        if not page:
            return
        yield page
        after = [page[-1][table.columns.index(name)] for name in table.key]


def _bodies_of_texts(rows: SqliteReader) -> dict[tuple[int, int], bytes]:
    """Of parts of captures that are no base64, by stream and number."""
    return {
        (stream_id, seq): plain_body(
            CapturePart(content_sha=rows.spell(sha), part=part, content_b64=text)
        )
        for stream_id, seq, sha, part, text in rows.parts_of_text()
    }


def _as_kept(table: Moved, row: Row, texts: Mapping[tuple[int, int], bytes]) -> Row:
    """A part of a capture that is no base64 has no bytes: the body of its line is kept instead."""
    if table.name == "capture_part":
        return tuple(None if isinstance(cell, str) else cell for cell in row)
    if texts and row[-1] is None:
        body = texts.get(cast(tuple[int, int], tuple(row[:2])))
        return row if body is None else (*row[:-1], body)
    return row


def compared(rows: SqliteReader, found: SqliteReader, table: Moved) -> Compared:
    """A table in the source and in the target, all its rows read in order of their keys."""
    before, after = _hashed(rows, table), _hashed(found, table)
    return Compared(table.name, (before[0], after[0]), (before[1], after[1]))


def _hashed(reader: SqliteReader, table: Moved) -> tuple[int, str]:
    """Of a line its body goes in by its digest: whether it is kept beside its columns is the
    database's affair, and one that is kept must have the digest."""
    sha, count = hashlib.sha256(), 0
    for page in _pages(reader, table, None):
        for row in page:
            if table.name == "lines":
                body, digest = row[-1], row[2]
                if isinstance(body, bytes) and hashlib.sha256(body).digest()[:16] != digest:
                    raise HistoryFault(f"line {row[:2]} is not what its digest says; restore it")
                row = row[:-1]
            elif table.name == "capture_part":
                row = tuple(None if isinstance(cell, str) else cell for cell in row)
            sha.update(repr(tuple(row)).encode())
        count += len(page)
    return count, sha.hexdigest()
