"""A server for the tests of the PostgreSQL store, one for all of them in a process."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.postgres import Server


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """A running server with nothing in it."""
    made = Server()
    made.start()
    yield made
    made.remove()
