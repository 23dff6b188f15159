"""The history in SQLite: one file a site, one writing connection, readers that cannot write.

Write-ahead log, synchronous FULL: a commit is on the disk before its receipt goes out. One
connection writes and checkpoints; every reader opens the file read-only. (It is
reported of SQLite before 3.51.3 that two connections which checkpoint at once can corrupt a
write-ahead log.)
"""

from __future__ import annotations

import re
import sqlite3
from pathlib import Path
from typing import TypeVar
from urllib.parse import quote

from gateway.history.sqlite_loaded import SqliteLoader
from gateway.history.sqlite_read import SqliteReader
from gateway.history.sqlite_thinning import SqliteThinner
from gateway.history.sqlite_write import SqliteWriter
from gateway.history.store import GATEWAY_SITE, HistoryFault

WriterT = TypeVar("WriterT", bound=SqliteWriter)

_SITE = re.compile(r"[a-z0-9-]{1,32}")
_SUFFIX = ".sqlite3"

PAGE_BYTES = 8192
"""A row of about 250 bytes lies in the tree itself, so a page must hold a few dozen of them."""

CACHES_BYTES_MAX = 32 * 1024 * 1024
"""All pages in memory together, as far as SQLite can keep to it: above this a connection takes the
place of pages of its own. Thinning 200 sites would else leave each of them a full cache."""

_WRITER_PRAGMAS = (
    f"PRAGMA soft_heap_limit = {CACHES_BYTES_MAX}",
    f"PRAGMA page_size = {PAGE_BYTES}",
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA wal_autocheckpoint = 1000",
    "PRAGMA journal_size_limit = 67108864",
    "PRAGMA busy_timeout = 5000",
    "PRAGMA cache_size = -16384",
)


class SqliteHistory:
    """The files of all sites in one folder. Hold the folder's lock before asking for a writer."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._words: dict[str, dict[int, str]] = {}

    def sites(self) -> list[str]:
        """Sites that have a history, by name."""
        names = sorted(path.name.removesuffix(_SUFFIX) for path in self._folder.glob(f"*{_SUFFIX}"))
        return [name for name in names if _SITE.fullmatch(name)]

    def writer(self, site: str) -> SqliteThinner:
        """The writer of a site, its file made or brought to the newest shape."""
        return self._opened(site, SqliteThinner)

    def loader(self, site: str) -> SqliteLoader:
        """The same for rows from elsewhere."""
        return self._opened(site, SqliteLoader)

    def _opened(self, site: str, kind: type[WriterT]) -> WriterT:
        path = self._path(site)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        except (OSError, sqlite3.Error) as fault:
            raise HistoryFault(f"history {path}: {fault}; it must be a writable file") from fault
        try:
            for pragma in _WRITER_PRAGMAS:
                connection.execute(pragma)
            return kind(connection, path)
        except sqlite3.Error as fault:
            connection.close()
            raise HistoryFault(f"history {path}: {fault}; it must be a writable file") from fault

    def reader(self, site: str) -> SqliteReader:
        """A reader of a site. Raises HistoryFault where it has no history."""
        path = self._path(site)
        if not path.exists():
            raise HistoryFault(f"no history of site {site!r} in {self._folder}")
        words = self._words.setdefault(site, {})
        return SqliteReader(_open_to_read(path), path, words)

    def _path(self, site: str) -> Path:
        if site != GATEWAY_SITE and not _SITE.fullmatch(site):
            raise HistoryFault(f"site {site!r}; a site is 1 to 32 of a-z, 0-9 and '-'")
        return self._folder / f"{site}{_SUFFIX}"


def _open_to_read(path: Path) -> sqlite3.Connection:
    address = f"file:{quote(str(path.resolve()))}?mode=ro"
    try:
        connection = sqlite3.connect(
            address, uri=True, isolation_level=None, check_same_thread=False
        )
        connection.execute("PRAGMA busy_timeout = 5000")
        return connection
    except sqlite3.Error as fault:
        raise HistoryFault(f"history {path}: {fault}; it must be a readable file") from fault
