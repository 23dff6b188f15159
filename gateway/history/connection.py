"""What the history asks of a connection, so that one set of questions serves both databases.

Questions are written with `?` for what is given, in words that SQLite and PostgreSQL both know.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Protocol


class Rows(Protocol):
    """What a question brought."""

    def __iter__(self) -> Iterator[Any]: ...

    def fetchone(self) -> Any: ...

    def fetchall(self) -> list[Any]: ...


class Connection(Protocol):
    """A connection as `sqlite3` has it; faults are `sqlite3.Error`, whatever lies behind."""

    @property
    def in_transaction(self) -> bool: ...

    def execute(self, query: str, given: Sequence[Any] = (), /) -> Rows: ...

    def executemany(self, query: str, rows: Iterable[Sequence[Any]], /) -> object: ...

    def close(self) -> None: ...
