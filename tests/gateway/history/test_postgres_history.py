"""The PostgreSQL store: the common behaviour, and what only a server can do."""

from __future__ import annotations

import pytest

from gateway.history.postgres_store import PostgresHistory
from tests.gateway.history.behaviour import HistoryBehaviour
from tests.postgres import Server


@pytest.fixture
def history(server: Server) -> PostgresHistory:
    server.empty()
    return PostgresHistory(server.address())


class TestPostgresHistory(HistoryBehaviour):
    """The behaviour of every store."""
