"""Accounts, sessions, tokens and the audit in one SQLite file beside the histories.

Secrets are kept as hashes only: passwords by argon2, session and token secrets by SHA-256 (they are
random, so a fast hash is enough). The gateway and the `accounts` command may both have it open.
"""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

FILE_NAME = "_accounts.sqlite3"
"""No site's name has a `_`, so it is never taken for a history."""

SHAPE = 1

_TABLES = (
    """
    CREATE TABLE accounts (
        name TEXT PRIMARY KEY, role TEXT NOT NULL, password TEXT NOT NULL,
        disabled INTEGER NOT NULL DEFAULT 0, made_us INTEGER NOT NULL,
        failures INTEGER NOT NULL DEFAULT 0, locks INTEGER NOT NULL DEFAULT 0,
        locked_until_us INTEGER NOT NULL DEFAULT 0
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE sessions (
        sha TEXT PRIMARY KEY, name TEXT NOT NULL, role TEXT NOT NULL, csrf TEXT NOT NULL,
        way TEXT NOT NULL, address TEXT NOT NULL, made_us INTEGER NOT NULL, seen_us INTEGER NOT NULL
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE tokens (
        sha TEXT PRIMARY KEY, name TEXT NOT NULL, label TEXT NOT NULL, made_us INTEGER NOT NULL,
        until_us INTEGER NOT NULL
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE audit (
        number INTEGER PRIMARY KEY, at_us INTEGER NOT NULL, who TEXT NOT NULL, what TEXT NOT NULL,
        about TEXT NOT NULL, address TEXT NOT NULL, detail TEXT NOT NULL
    )
    """,
    """
    CREATE TRIGGER audit_is_not_changed BEFORE UPDATE ON audit
    BEGIN SELECT RAISE(ABORT, 'the audit is only ever added to'); END
    """,
    """
    CREATE TRIGGER audit_is_not_cut BEFORE DELETE ON audit
    BEGIN SELECT RAISE(ABORT, 'the audit is only ever added to'); END
    """,
)


class AccountsFault(OSError):
    """The accounts' file could not be opened, read or written."""


class AccountsFile:
    """One connection that threads take in turn."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE_NAME
        self._one_at_a_time = threading.RLock()
        try:
            folder.mkdir(parents=True, exist_ok=True)
            os.close(os.open(self._path, os.O_CREAT | os.O_CLOEXEC, 0o600))
            self._connection = sqlite3.connect(
                self._path, isolation_level=None, check_same_thread=False, timeout=10
            )
            self._connection.execute("PRAGMA journal_mode = WAL")
            self._connection.execute("PRAGMA synchronous = FULL")
            with self.changing():
                if not self._connection.execute("PRAGMA user_version").fetchone()[0]:
                    for statement in _TABLES:
                        self._connection.execute(statement)
                    self._connection.execute(f"PRAGMA user_version = {SHAPE}")
        except (OSError, sqlite3.Error) as fault:
            raise self._fault(fault) from fault

    def close(self) -> None:
        """Ends the connection."""
        with self._one_at_a_time:
            self._connection.close()

    @contextmanager
    def changing(self) -> Iterator[None]:
        """All that happens inside is kept together, durable, or not at all."""
        with self._one_at_a_time:
            try:
                self._connection.execute("BEGIN IMMEDIATE")
                try:
                    yield
                except BaseException:
                    self._connection.execute("ROLLBACK")
                    raise
                self._connection.execute("COMMIT")
            except sqlite3.Error as fault:
                raise self._fault(fault) from fault

    def ask(self, query: str, *given: object) -> list[tuple[object, ...]]:
        """The rows of one statement. Raises AccountsFault."""
        with self._one_at_a_time:
            try:
                return self._connection.execute(query, given).fetchall()
            except sqlite3.Error as fault:
                raise self._fault(fault) from fault

    def _fault(self, fault: Exception) -> AccountsFault:
        return AccountsFault(f"accounts {self._path}: {fault}; it must be a writable file")
