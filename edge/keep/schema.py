"""The durable file's tables and how a connection to it is set up.

One SQLite file, one connection, one thread. WAL with synchronous FULL, so that a commit that
returned survives a power cut on a disk that honours syncs (SQLite documentation, "Write-Ahead
Logging" and "PRAGMA synchronous"). Of SQLite 3.7.0 to 3.51.2 it is reported that two connections
that write and checkpoint at once may corrupt a WAL file; a single connection is outside of that.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from functools import cache
from pathlib import Path

SCHEMA_NUMBER = 1
"""Kept as user_version. A release reads its own number and lower ones."""

PAGE_BYTES = 4096

CHECKPOINT_PAGES = 256
"""The WAL is copied back into the file when it is this long: 1 MiB, then it is written over."""

PRAGMAS: tuple[str, ...] = (
    f"PRAGMA page_size={PAGE_BYTES}",
    "PRAGMA journal_mode=WAL",
    "PRAGMA synchronous=FULL",
    f"PRAGMA wal_autocheckpoint={CHECKPOINT_PAGES}",
    # A WAL that is not cut below its usual length need not grow again on a disk that has filled.
    f"PRAGMA journal_size_limit={2 * CHECKPOINT_PAGES * PAGE_BYTES}",
    "PRAGMA temp_store=MEMORY",
    "PRAGMA cache_size=-2000",
    "PRAGMA mmap_size=0",
    "PRAGMA cell_size_check=ON",
)

SEQ_BITS = 38
"""A row's place is its lane's number shifted by this, plus its sequence number: 2.7e11 records."""

TABLES = """
CREATE TABLE meta (name TEXT PRIMARY KEY, text TEXT NOT NULL, sha BLOB NOT NULL) WITHOUT ROWID;
CREATE TABLE boots (
    number INTEGER PRIMARY KEY, boot TEXT NOT NULL, clock TEXT NOT NULL, UNIQUE (boot, clock));
CREATE TABLE lanes (
    number INTEGER PRIMARY KEY,          -- epoch counter * 8 + place of the stream
    epoch TEXT NOT NULL, stream TEXT NOT NULL,
    last INTEGER NOT NULL,               -- highest sequence number given out
    promised INTEGER NOT NULL,           -- none above this can have been sent
    released INTEGER NOT NULL,           -- the gateway holds everything up to here
    kept_bytes INTEGER NOT NULL,         -- bodies of released rows that are still held
    sha BLOB NOT NULL,
    UNIQUE (epoch, stream));
CREATE TABLE outbox (
    place INTEGER PRIMARY KEY,
    first INTEGER NOT NULL,              -- a tombstone stands for first..seq; else first = seq
    rank INTEGER NOT NULL,               -- what is given up before what
    boot INTEGER NOT NULL, t_boot_ns INTEGER NOT NULL, t_utc_us INTEGER NOT NULL,
    sha BLOB NOT NULL, body BLOB NOT NULL);
CREATE TABLE state (name TEXT PRIMARY KEY, sha BLOB NOT NULL, body BLOB NOT NULL);
CREATE TABLE calibration (
    number INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, insulator TEXT NOT NULL,
    dated_us INTEGER NOT NULL, sha BLOB NOT NULL, body BLOB NOT NULL);
CREATE TRIGGER calibration_is_never_changed BEFORE UPDATE ON calibration
    BEGIN SELECT RAISE(ABORT, 'a calibration is never changed: add a newer one'); END;
CREATE TRIGGER calibration_is_never_removed BEFORE DELETE ON calibration
    BEGIN SELECT RAISE(ABORT, 'a calibration is never removed: add a newer one'); END;
"""


def connect(path: Path, pragmas: tuple[str, ...] = PRAGMAS) -> sqlite3.Connection:
    """An open connection in explicit-transaction mode, settings applied.

    Raises sqlite3.DatabaseError where the file is not a database.
    """
    connection = bare_connection(path)
    try:
        for pragma in pragmas:
            connection.execute(pragma).fetchall()
    except BaseException:
        connection.close()
        raise
    return connection


def bare_connection(path: Path) -> sqlite3.Connection:
    """A connection as SQLite makes it; text that is no UTF-8 is read with marks for what is not."""
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=True)
    connection.text_factory = lambda text: text.decode(errors="replace")
    return connection


def create_tables(connection: sqlite3.Connection) -> None:
    """All tables, within the caller's transaction (so not by executescript, which commits)."""
    statement = ""
    for line in TABLES.strip().splitlines():
        statement += line + "\n"
        if sqlite3.complete_statement(statement):
            connection.execute(statement)
            statement = ""
    connection.execute(f"PRAGMA user_version={SCHEMA_NUMBER}")


def is_created(connection: sqlite3.Connection) -> bool:
    """Whether the tables exist: they come all in one transaction or not at all."""
    found = connection.execute("SELECT 1 FROM sqlite_schema WHERE name='meta'").fetchone()
    return found is not None


def what_is_broken(connection: sqlite3.Connection) -> str | None:
    """What SQLite's own check complains of first, or that the tables are not those above.

    The whole check, not the quick one: that passes over an index that does not fit its table, on
    which every later commit would fail. The outbox has no index, so it costs no more. None where
    nothing is found; a file without any table is sound.
    """
    try:
        (verdict,) = connection.execute("PRAGMA integrity_check(1)").fetchone()
        found = connection.execute("SELECT type, name, sql FROM sqlite_schema").fetchall()
    except DATABASE_FAULTS as fault:
        if not is_broken(fault):
            raise
        return str(fault)
    if verdict != "ok":
        return str(verdict)
    return None if not found or sorted(map(repr, found)) == _expected() else "the tables differ"


@cache
def _expected() -> list[str]:
    """How SQLite itself describes the tables above."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as fresh:
        create_tables(fresh)
        found = fresh.execute("SELECT type, name, sql FROM sqlite_schema").fetchall()
    return sorted(map(repr, found))


DATABASE_FAULTS = (sqlite3.DatabaseError, UnicodeDecodeError)
"""What a call into SQLite may raise; the second where SQLite complains of a name that a flipped bit
made undecodable, and Python cannot decode the complaint."""


def is_broken(fault: Exception) -> bool:
    """Whether an error speaks of the file's content (not of the disk or the folder)."""
    if isinstance(fault, UnicodeDecodeError):
        return True
    return primary_code(fault) in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def primary_code(fault: Exception) -> int:
    """SQLite's primary result code; 0 where the error did not come from SQLite."""
    return getattr(fault, "sqlite_errorcode", 0) & 0xFF


def pragma_number(connection: sqlite3.Connection, name: str) -> int:
    """The integer that a pragma answers."""
    return int(connection.execute(f"PRAGMA {name}").fetchone()[0])


FAULTS = frozenset(
    (
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_CORRUPT,
        sqlite3.SQLITE_NOTADB,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_PROTOCOL,
    )
)
"""Primary codes that speak of the disk or the file; full aside, every other error is a bug."""


def is_full(fault: Exception) -> bool:
    """No room: SQLite says so, or one write failed (a limit on file size or a user's quota)."""
    code = getattr(fault, "sqlite_errorcode", 0)
    return primary_code(fault) == sqlite3.SQLITE_FULL or code == sqlite3.SQLITE_IOERR_WRITE
