"""Readers of what was loaded, closed after each test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.history.sqlite_read import SqliteReader
from gateway.history.sqlite_store import SqliteHistory
from tests.gateway.commands.running import SITE

_opened: list[SqliteReader] = []


def reader(folder: Path) -> SqliteReader:
    _opened.append(SqliteHistory(folder / "history").reader(SITE))
    return _opened[-1]


@pytest.fixture(autouse=True)
def _readers_are_closed() -> Iterator[None]:
    yield
    while _opened:
        _opened.pop().close()
