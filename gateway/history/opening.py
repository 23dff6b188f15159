"""The one door to the histories: a folder of SQLite files, or a PostgreSQL database.

A data folder whose histories lie in a database has a file that says so, so that every command that
is given the folder finds them. The driver of PostgreSQL is asked for only then.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol

from gateway.history.lock import hold_data
from gateway.history.sqlite_loaded import SqliteLoader
from gateway.history.sqlite_read import SqliteReader
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.sqlite_thinning import SqliteThinner
from gateway.history.store import HistoryFault

SCHEMES = ("postgresql://", "postgres://")
POINTER = "history.toml"
"""In a data folder: `address`, and `password_file` where the password is in one."""


class Histories(Protocol):
    """The histories of all sites in one place, with all that either database can do."""

    def sites(self) -> list[str]: ...

    def writer(self, site: str) -> SqliteThinner: ...

    def loader(self, site: str) -> SqliteLoader: ...

    def reader(self, site: str) -> SqliteReader: ...


def open_history(place: Path | str, password_file: Path | None = None) -> Histories:
    """The histories in a data folder or at an address. Raises HistoryFault."""
    if isinstance(place, str) and place.startswith(SCHEMES):
        return _database(place, password_file)
    folder = Path(place)
    pointer = folder / POINTER
    if not pointer.exists():
        return SqliteHistory(folder)
    return _database(*_read(pointer))


def settled(folder: Path, address: str | None, password_file: Path | None) -> Histories:
    """The histories that a gateway's settings name, and the folder made to say so, too.

    Raises HistoryFault where the folder has been told of a database and the settings name none: an
    empty history would begin beside the one that is there.
    """
    pointer = folder / POINTER
    if address is None:
        if pointer.exists():
            raise HistoryFault(
                f"{pointer} says that the histories lie in {_read(pointer)[0]}, and the settings "
                "name no [history]; name it, or move the sites back and take the file away"
            )
        return SqliteHistory(folder)
    made = _database(address, password_file)
    lines = {"address": address, "password_file": password_file and str(password_file)}
    text = "".join(f"{name} = {json.dumps(one)}\n" for name, one in lines.items() if one)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not pointer.exists() or pointer.read_text(encoding="utf-8") != text:
            part = pointer.with_name(f"{POINTER}.part")
            part.write_text(text, encoding="utf-8")
            part.replace(pointer)
    except OSError as fault:
        raise HistoryFault(f"{pointer}: {fault.strerror}; it must be writable") from fault
    return made


def address_in(folder: Path) -> str | None:
    """The database that holds the folder's histories; None where they are files in it."""
    pointer = folder / POINTER
    return _read(pointer)[0] if pointer.exists() else None


@contextmanager
def history_at(place: str, program: str) -> Iterator[Histories]:
    """The files in a folder, or a database, whatever the folder says of another place.

    A folder is held for writing; a database keeps its writers apart itself. Raises HistoryFault.
    """
    if place.startswith(SCHEMES):
        yield _database(place, None)
        return
    with hold_data(Path(place), program):
        yield SqliteHistory(Path(place))


def _database(address: str, password_file: Path | None) -> Histories:
    from gateway.history.postgres_store import PostgresHistory, password_in

    password = None if password_file is None else password_in(password_file)
    return PostgresHistory(address, password)


def _read(pointer: Path) -> tuple[str, Path | None]:
    try:
        found = tomllib.loads(pointer.read_text(encoding="utf-8"))
        address, password_file = found["address"], found.get("password_file")
    except (OSError, ValueError, KeyError) as fault:
        raise HistoryFault(f"{pointer}: {fault}; it must say address = 'postgresql://…'") from fault
    return str(address), None if password_file is None else Path(str(password_file))
