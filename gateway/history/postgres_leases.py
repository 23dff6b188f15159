"""Which of several programs writes which unit: leases in the database, and a token in every commit.

A unit's lines must come through one program at a time. A lease says whose it is now and carries a
token that rises whenever it changes hands; each commit asks, in its own transaction, whether the
tokens are still those that it judged by. So a program that was thought dead can wake up at any
moment and write nothing. Time is the server's alone.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Collection, Iterable, Mapping
from typing import TypeVar

from gateway.history.connection import Connection
from gateway.history.postgres_connection import PostgresConnection
from gateway.history.postgres_schema import LOCK_TABLES, lock
from gateway.history.postgres_store import PostgresHistory
from gateway.history.store import HistoryFault

LEASE_S = 3.0
"""So long after its last renewal a lease may be taken over: a worker that is silent for longer
loses its units with the others' next look. Shorter, a busy machine loses units that it serves."""

STATES = ("SET idle_session_timeout = '10s'", "SET lock_timeout = '2s'")
"""A worker that stands still is no longer the leader, though its connection lives."""

LOCK_LEADER = 5_730_004
"""An advisory lock that the one program holds which tells of new units."""

ResultT = TypeVar("ResultT")
_WORKER = re.compile(r"[a-zA-Z0-9-]{1,32}")
_SCHEMA = "fleet"
_TABLES = (
    f"CREATE SCHEMA IF NOT EXISTS {_SCHEMA}",
    f"CREATE TABLE IF NOT EXISTS {_SCHEMA}.workers "
    "(worker TEXT PRIMARY KEY, until TIMESTAMPTZ NOT NULL)",
    f"CREATE TABLE IF NOT EXISTS {_SCHEMA}.leases (unit TEXT PRIMARY KEY, worker TEXT, "
    "token BIGINT NOT NULL DEFAULT 0, until TIMESTAMPTZ NOT NULL DEFAULT '-infinity')",
)
_UNTIL = "clock_timestamp() + ? * interval '1 s'"
_ALIVE = (
    f"INSERT INTO {_SCHEMA}.workers VALUES (?, {_UNTIL}) "
    "ON CONFLICT (worker) DO UPDATE SET until = excluded.until"
)
_FORGOTTEN = f"DELETE FROM {_SCHEMA}.workers WHERE until < clock_timestamp() AND worker <> ?"
_COUNTS = (
    f"SELECT (SELECT count(*) FROM {_SCHEMA}.workers), (SELECT count(*) FROM {_SCHEMA}.leases)"
)
_RENEWED = f"UPDATE {_SCHEMA}.leases SET until = {_UNTIL} WHERE worker = ? RETURNING unit, token"
_RELEASED = (
    f"UPDATE {_SCHEMA}.leases SET worker = NULL, until = '-infinity' "
    "WHERE worker = ? AND unit = ANY(?::text[])"
)
_TAKEN = (
    f"UPDATE {_SCHEMA}.leases SET worker = ?, token = token + 1, until = {_UNTIL} "
    f"WHERE unit = ANY(ARRAY(SELECT unit FROM {_SCHEMA}.leases WHERE until < clock_timestamp() "
    "ORDER BY unit LIMIT ? FOR UPDATE SKIP LOCKED)) RETURNING unit, token"
)
_TOLD = (
    f"INSERT INTO {_SCHEMA}.leases (unit) SELECT unnest(?::text[]) ORDER BY 1 "
    "ON CONFLICT DO NOTHING"
)
_STANDING = (
    f"SELECT unit, token FROM {_SCHEMA}.leases WHERE unit = ANY(?::text[]) AND worker = ? "
    "ORDER BY unit FOR SHARE"
)


class LeaseLost(HistoryFault):
    """A unit is another program's by now. Nothing was written."""


class Leases:
    """One worker's. worker: its name, 1 to 32 letters, digits and '-', no two the same."""

    def __init__(self, history: PostgresHistory, worker: str, lease_s: float = LEASE_S) -> None:
        if not _WORKER.fullmatch(worker):
            raise HistoryFault(f"worker {worker!r}; it must be 1 to 32 letters, digits and '-'")
        self._worker, self._lease_s = worker, lease_s
        self._connection: PostgresConnection = history.connection(STATES)
        self._is_leader = self._is_over = False
        self._in_one(self._make)

    def _make(self) -> None:
        lock(self._connection, LOCK_TABLES, _SCHEMA)
        for table in _TABLES:
            self._connection.execute(table)

    def renew(self) -> dict[str, int]:
        """The units that are this worker's now, with their tokens.

        Keeps what it has, takes what nobody has up to its share, gives away what is above it.
        Raises HistoryFault where the database does not answer; leases then run out by themselves.
        """
        return self._in_one(self._renewed)

    def _renewed(self) -> dict[str, int]:
        ask = self._connection.execute
        ask(_ALIVE, (self._worker, self._lease_s))
        ask(_FORGOTTEN, (self._worker,))
        workers, units = ask(_COUNTS).fetchone()
        share = -(-units // workers)
        held = dict(ask(_RENEWED, (self._lease_s, self._worker)).fetchall())
        above = sorted(held)[share:]
        if above:
            ask(_RELEASED, (self._worker, above))
        if len(held) < share:
            held |= dict(ask(_TAKEN, (self._worker, self._lease_s, share - len(held))).fetchall())
        return {unit: token for unit, token in held.items() if unit not in above}

    def tell(self, units: Iterable[str]) -> bool:
        """Tells of units that may be new, if this worker is the leader; whether it is."""
        given = sorted(set(units))

        def told() -> bool:
            ask = self._connection.execute
            # Held by the connection, not the transaction: free as soon as this worker is gone.
            if not self._is_leader:
                (self._is_leader,) = ask(
                    "SELECT pg_try_advisory_lock(?)", (LOCK_LEADER,)
                ).fetchone()
            if self._is_leader and given:
                ask(_TOLD, (given,))
            return self._is_leader

        return self._in_one(told)

    def give_up(self) -> None:
        """At the end: others need not wait until the leases have run out."""

        def gone() -> None:
            held = "SELECT unit FROM fleet.leases WHERE worker = ?"
            units = [unit for (unit,) in self._connection.execute(held, (self._worker,))]
            self._connection.execute(_RELEASED, (self._worker, units))
            gone = "DELETE FROM fleet.workers WHERE worker = ?"
            self._connection.execute(gone, (self._worker,))

        if self._is_over:
            return
        self._is_over = True
        try:
            self._in_one(gone)
        finally:
            self._connection.close()

    def _in_one(self, what: Callable[[], ResultT]) -> ResultT:
        try:
            self._connection.execute("BEGIN")
            found = what()
            self._connection.execute("COMMIT")
            return found
        except sqlite3.Error as fault:
            self._is_leader = False
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            raise HistoryFault(f"leases of {self._worker}: {fault}") from fault


class Fence:
    """Asked within each commit. tokens: those by which the commit's lines were judged; set by the
    thread that judges."""

    def __init__(self, worker: str) -> None:
        self._worker = worker
        self.tokens: Mapping[str, int] = {}

    def __call__(self, connection: Connection, units: Collection[str]) -> None:
        """Raises LeaseLost. The leases stay locked until the commit has ended: nobody takes them
        over between the question and the rows."""
        if not units:
            return
        found = dict(connection.execute(_STANDING, (sorted(units), self._worker)).fetchall())
        lost = sorted(unit for unit in units if found.get(unit, -1) != self.tokens.get(unit))
        if lost:
            raise LeaseLost(f"{', '.join(lost[:3])}: no longer of worker {self._worker}")
