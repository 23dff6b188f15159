"""The history in PostgreSQL: one database, a schema a site, any number of writers and readers.

A commit is on the server's disk before its receipt goes out (`synchronous_commit`, said anew by
every writer). The password comes from the given file or from where the client library looks
(PGPASSWORD, PGPASSFILE), never from the address.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import psycopg
from psycopg.conninfo import conninfo_to_dict, make_conninfo

from gateway.history.postgres_connection import PostgresConnection
from gateway.history.postgres_thinning import PostgresThinner
from gateway.history.postgres_write import Fence
from gateway.history.sqlite_read import SqliteReader
from gateway.history.store import GATEWAY_SITE, HistoryFault

_SITE = re.compile(r"[a-z0-9-]{1,32}")
_PREFIX = "site_"
OpenedT = TypeVar("OpenedT")

REACHED: dict[str, str | int] = {
    "connect_timeout": 5,
    "keepalives_idle": 5,
    "keepalives_interval": 2,
    "keepalives_count": 3,
    "tcp_user_timeout": 10_000,
    "application_name": "seafret",
}
"""A server whose machine has gone is known to have gone within ten seconds or so."""

_WRITER_STATES = (
    "SET synchronous_commit = on",
    "SET lock_timeout = '60s'",
)

_FENCED_STATES = ("SET idle_in_transaction_session_timeout = '4s'",)
"""A writer that stands still within a commit loses it, so that who takes over waits no longer."""


class PostgresReader(SqliteReader):
    """Reads one site; the same questions as of a file."""

    JOIN_IN_ORDER = "JOIN"

    def _has_decisions(self) -> bool:
        return True

    def parts_of_text(self) -> list[tuple[int, int, int, int, str]]:
        """None: their bodies are kept instead."""
        return []


class PostgresHistory:
    """The sites in one database. password: None leaves it to the client library. fence: asked
    within each commit, where several programs write the same units in turn."""

    def __init__(
        self, address: str, password: str | None = None, fence: Fence | None = None
    ) -> None:
        self._conninfo = _checked(address, password)
        self._name = _without_password(address)
        self._fence = fence
        self._words: dict[str, dict[int, str]] = {}

    def sites(self) -> list[str]:
        """Sites that have a history, by name."""
        connection = self._opened("", ())
        try:
            found = connection.execute(
                "SELECT nspname FROM pg_namespace WHERE starts_with(nspname, ?)", (_PREFIX,)
            )
            names = sorted(row[0].removeprefix(_PREFIX) for row in found)
        except sqlite3.Error as fault:
            raise HistoryFault(f"history {self._name}: {fault}") from fault
        finally:
            connection.close()
        return [name for name in names if _SITE.fullmatch(name)]

    def writer(self, site: str) -> PostgresThinner:
        """A writer of a site, its tables made or brought to the newest shape."""
        schema = _schema_of(site)
        states = _WRITER_STATES if self._fence is None else (*_WRITER_STATES, *_FENCED_STATES)
        connection = self._opened(schema, states)
        try:
            return PostgresThinner(connection, f"{self._name} {site}", schema, self._fence)
        except sqlite3.Error as fault:
            connection.close()
            raise HistoryFault(
                f"history {self._name}: {fault}; the writer's role must be able to make schemas"
            ) from fault

    def loader(self, site: str) -> PostgresThinner:
        """The same for rows from elsewhere."""
        return self.writer(site)

    def reader(self, site: str) -> PostgresReader:
        """A reader of a site. Raises HistoryFault where it has no history."""
        schema = _schema_of(site)
        connection = self._opened(schema, ("SET default_transaction_read_only = on",))
        there = connection.execute("SELECT to_regnamespace(?)", (f'"{schema}"',)).fetchone()
        if there[0] is None:
            connection.close()
            raise HistoryFault(f"no history of site {site!r} in {self._name}")
        return PostgresReader(connection, f"{self._name} {site}", self._words.setdefault(site, {}))

    def connection(self, states: tuple[str, ...] = ()) -> PostgresConnection:
        """One that stands in no site, for what concerns all of them. states: set at its start."""
        return self._opened("", (*_WRITER_STATES, *states))

    def _opened(self, schema: str, states: tuple[str, ...]) -> PostgresConnection:
        def connect() -> psycopg.Connection[Any]:
            made: psycopg.Connection[Any] = psycopg.connect(self._conninfo, autocommit=True)
            try:
                for state in (f'SET search_path TO "{schema}"' if schema else "", *states):
                    if state:
                        made.execute(state)
            except BaseException:
                made.close()
                raise
            return made

        return _told(f"history {self._name}", lambda: PostgresConnection(connect))


def _told(where: str, what: Callable[[], OpenedT]) -> OpenedT:
    try:
        return what()
    except sqlite3.Error as fault:
        raise HistoryFault(f"{where}: {fault}; the server must answer there") from fault


def _schema_of(site: str) -> str:
    if site != GATEWAY_SITE and not _SITE.fullmatch(site):
        raise HistoryFault(f"site {site!r}; a site is 1 to 32 of a-z, 0-9 and '-'")
    return f"{_PREFIX}{site}"


def _checked(address: str, password: str | None) -> str:
    try:
        given = conninfo_to_dict(address)
    except psycopg.Error as fault:
        raise HistoryFault(
            f"history {_without_password(address)}: {' '.join(str(fault).split())}"
        ) from fault
    if "password" in given:
        raise HistoryFault(
            f"history {_without_password(address)}: its address holds a password; put it into a "
            "file (password_file), or into the environment (PGPASSFILE)"
        )
    more: dict[str, Any] = {name: one for name, one in REACHED.items() if name not in given}
    return make_conninfo(address, **more, **({} if password is None else {"password": password}))


def _without_password(address: str) -> str:
    return re.sub(r"//([^:/@]*):[^@/]*@", r"//\1:...@", address)


def password_in(path: Path) -> str:
    """The password in a file's first line. Raises HistoryFault."""
    try:
        return path.read_text(encoding="utf-8").split("\n", 1)[0].strip()
    except (OSError, UnicodeDecodeError) as fault:
        raise HistoryFault(f"password file {path}: {fault}; give a readable text file") from fault
