"""Books: what is decided by people or sent out on their behalf, line by line, never changed.

One SQLite file beside the histories holds all books of a gateway (limits, notices, addresses of the
outstation). A book's lines are numbered from 1 and chained by their digests, so a line that was
changed or taken away by a foreign hand is found when the book is read. What a part shows is a fold
of its book; a restart reads it again.
"""

from __future__ import annotations

import hashlib
import sqlite3
import threading
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

FILE_NAME = "_books.sqlite3"
"""No site's name has a `_`, so it is no history of a site."""

_PRAGMAS = (
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA busy_timeout = 5000",
)

_TABLE = (
    "CREATE TABLE IF NOT EXISTS book (name TEXT NOT NULL, number INTEGER NOT NULL, "
    "at_us INTEGER NOT NULL, body BLOB NOT NULL, sha BLOB NOT NULL, "
    "PRIMARY KEY (name, number)) WITHOUT ROWID"
)
_TRIGGERS = tuple(
    f"CREATE TRIGGER IF NOT EXISTS book_no_{verb.lower()} BEFORE {verb} ON book "
    "BEGIN SELECT RAISE(ABORT, 'a book is only ever added to'); END"
    for verb in ("UPDATE", "DELETE")
)


class BookFault(OSError):
    """The books cannot be opened, read or written, or were changed by a foreign hand."""


@dataclass(frozen=True, slots=True)
class BookLine:
    """One line. at_us: when it was written, by the gateway's clock. body: canonical JSON."""

    number: int
    at_us: int
    body: bytes


class Books:
    """The one writer of a gateway's books; may be asked from any thread."""

    def __init__(self, folder: Path) -> None:
        """Opened, made where it is missing. Raises BookFault."""
        self._path = folder / FILE_NAME
        self._one_at_a_time = threading.Lock()
        self._last: dict[str, tuple[int, bytes]] = {}
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._db = sqlite3.connect(self._path, isolation_level=None, check_same_thread=False)
            for statement in (*_PRAGMAS, _TABLE, *_TRIGGERS):
                self._db.execute(statement)
        except (OSError, sqlite3.Error) as fault:
            raise BookFault(f"books {self._path}: {fault}; it must be a writable file") from fault

    def close(self) -> None:
        """Lets go of the file."""
        with self._one_at_a_time:
            self._db.close()

    def read(self, name: str) -> list[BookLine]:
        """All lines of a book in order. Raises BookFault where the chain is broken."""
        with self._one_at_a_time:
            return self._read(name)

    def append(self, name: str, at_us: int, bodies: Iterable[bytes]) -> list[BookLine]:
        """All lines or none, durable on return. Raises BookFault; then nothing was written."""
        with self._one_at_a_time:
            if name not in self._last:
                self._read(name)
            number, sha = self._last[name]
            lines: list[BookLine] = []
            rows: list[tuple[str, int, int, bytes, bytes]] = []
            for body in bodies:
                number, sha = number + 1, _sha(sha, number + 1, at_us, body)
                lines.append(BookLine(number, at_us, body))
                rows.append((name, number, at_us, body, sha))
            self._insert(rows)
            self._last[name] = (number, sha)
            return lines

    def _insert(self, rows: Sequence[tuple[str, int, int, bytes, bytes]]) -> None:
        try:
            self._db.execute("BEGIN IMMEDIATE")
            try:
                self._db.executemany("INSERT INTO book VALUES (?, ?, ?, ?, ?)", rows)
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:  # a full disk may have ended it
                    self._db.execute("ROLLBACK")
                raise
        except sqlite3.Error as fault:
            raise BookFault(f"books {self._path}: {fault}; nothing was written") from fault

    def _read(self, name: str) -> list[BookLine]:
        try:
            found = self._db.execute(
                "SELECT number, at_us, body, sha FROM book WHERE name = ? ORDER BY number", (name,)
            ).fetchall()
        except sqlite3.Error as fault:
            raise BookFault(f"books {self._path}: {fault}; it must be readable") from fault
        before = b""
        for place, (number, at_us, body, sha) in enumerate(found, start=1):
            whole = number == place and isinstance(body, bytes)
            if not whole or sha != _sha(before, number, at_us, body):
                raise BookFault(
                    f"books {self._path}, book {name}, line {place}: not as it was written; "
                    "restore the file from its copy"
                )
            before = sha
        self._last[name] = (len(found), before)
        return [BookLine(number, at_us, body) for number, at_us, body, _ in found]


def _sha(before: bytes, number: int, at_us: int, body: bytes) -> bytes:
    return hashlib.sha256(before + b"%d %d " % (number, at_us) + body).digest()
