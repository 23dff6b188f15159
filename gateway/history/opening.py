"""The one door to the histories: a folder of SQLite files, or the address of a PostgreSQL database.

The driver of PostgreSQL is asked for only where an address is given.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from gateway.history.lock import hold_data
from gateway.history.sqlite_store import SqliteHistory

if TYPE_CHECKING:
    from gateway.history.postgres_store import PostgresHistory

SCHEMES = ("postgresql://", "postgres://")

Place = Path | str
"""Where histories are: a folder, or an address."""


def is_address(place: Place) -> bool:
    """Whether a database's server is meant."""
    return isinstance(place, str) and place.startswith(SCHEMES)


def open_history(
    place: Place, password_file: Path | None = None
) -> SqliteHistory | PostgresHistory:
    """The histories in a place. Raises HistoryFault where the place cannot be meant."""
    if not is_address(place):
        return SqliteHistory(Path(place))
    from gateway.history.postgres_store import PostgresHistory, password_in

    password = None if password_file is None else password_in(password_file)
    return PostgresHistory(str(place), password)


@contextmanager
def held(place: Place, program: str) -> Iterator[None]:
    """A folder is written by one program at a time; a database keeps its writers apart itself."""
    if is_address(place):
        yield
        return
    with hold_data(Path(place), program):
        yield
