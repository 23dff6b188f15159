"""A connection to PostgreSQL that answers as one of `sqlite3`; see `gateway.history.connection`.

A question's `?` becomes what the driver wants. Rows are added by COPY. A connection that was lost
is opened again with the next question outside a transaction.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cache
from typing import Any

import psycopg
from psycopg.adapt import Loader
from psycopg.pq import TransactionStatus

NUL, ESCAPE = "\0", "\x1a"
"""PostgreSQL keeps no NUL in a text: it goes in as an escape and one digit, as the escape does."""

ONLY_NUMBERS = frozenset(("interval",))
"""Tables with whole numbers or nothing in every column: their rows are written in half the time."""

_INTO_COPY = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})


class Counted(Loader):
    """Sums of 64-bit numbers come as decimals: whole numbers, for sums are of nothing else here."""

    def load(self, data: Any) -> int:
        return int(bytes(data))


class Answer:
    """What a question brought, all of it."""

    def __init__(self, rows: Sequence[Any]) -> None:
        self._rows = iter(rows)

    def __iter__(self) -> Iterator[Any]:
        return self._rows

    def fetchone(self) -> Any:
        return next(self._rows, None)

    def fetchall(self) -> list[Any]:
        return list(self._rows)


class PostgresConnection:
    """connect: opens a connection that stands where it should."""

    def __init__(self, connect: Callable[[], psycopg.Connection[Any]]) -> None:
        self._connect = connect
        self._now = self._opened()
        self._ended = False

    def _opened(self) -> psycopg.Connection[Any]:
        try:
            opened = self._connect()
        except psycopg.Error as fault:
            raise _as_sqlite(fault) from fault
        opened.adapters.register_loader("numeric", Counted)
        return opened

    @property
    def in_transaction(self) -> bool:
        """Whether something is begun and neither committed nor lost."""
        status = self._now.info.transaction_status
        return not self._now.closed and status != TransactionStatus.IDLE

    def execute(self, query: str, given: Sequence[Any] = (), /) -> Answer:
        """Asks, and takes in the whole answer. Raises `sqlite3.Error`."""
        if self._now.closed and not self._ended and query not in ("COMMIT", "ROLLBACK"):
            self._now = self._opened()
        try:
            cursor = self._now.execute(_worded(query), [_text_in(one) for one in given] or None)
            if not cursor.description:
                return Answer(())
            return Answer([tuple(map(_text_out, row)) for row in cursor.fetchall()])
        except psycopg.Error as fault:
            raise _as_sqlite(fault) from fault

    def executemany(self, query: str, rows: Iterable[Sequence[Any]], /) -> object:
        """Asks the same of every row."""
        try:
            with self._now.cursor() as cursor:
                given = [[_text_in(one) for one in row] for row in rows]
                if given:
                    cursor.executemany(_worded(query), given)
        except psycopg.Error as fault:
            raise _as_sqlite(fault) from fault
        return None

    def add(self, table: str, columns: Sequence[str], rows: Sequence[Sequence[Any]]) -> None:
        """Adds rows in one stream."""
        if not rows:
            return
        if table in ONLY_NUMBERS:
            block = "\n".join(["\t".join(map(str, row)) for row in rows]).replace("None", "\\N")
        else:
            block = "\n".join(["\t".join(map(_copied, row)) for row in rows])
        try:
            with (
                self._now.cursor() as cursor,
                cursor.copy(f"COPY {table} ({', '.join(columns)}) FROM STDIN") as copy,
            ):
                copy.write(block + "\n")
        except psycopg.Error as fault:
            raise _as_sqlite(fault) from fault

    def close(self) -> None:
        """Ends it for good."""
        self._ended = True
        self._now.close()


@cache
def _worded(query: str) -> str:
    return query.replace("BEGIN IMMEDIATE", "BEGIN").replace("?", "%s")


def _copied(cell: object) -> str:
    if cell is None:
        return "\\N"
    if isinstance(cell, int):
        return str(cell)
    if isinstance(cell, bytes):
        return "\\\\x" + cell.hex()
    return str(_text_in(cell)).translate(_INTO_COPY)


def _text_in(cell: Any) -> Any:
    if isinstance(cell, str) and (NUL in cell or ESCAPE in cell):
        return cell.replace(ESCAPE, f"{ESCAPE}1").replace(NUL, f"{ESCAPE}0")
    return cell


def _text_out(cell: Any) -> Any:
    if isinstance(cell, str) and ESCAPE in cell:
        return cell.replace(f"{ESCAPE}0", NUL).replace(f"{ESCAPE}1", ESCAPE)
    return cell


def _as_sqlite(fault: psycopg.Error) -> sqlite3.Error:
    """A row that no table takes (a period's table was dropped meanwhile) is no fault of ours: it is
    tried again. A key that is there twice is."""
    text = fault.diag.message_primary or " ".join(str(fault).split())
    if isinstance(fault, psycopg.IntegrityError) and not isinstance(
        fault, psycopg.errors.CheckViolation
    ):
        return sqlite3.IntegrityError(text)
    return sqlite3.OperationalError(text)
