"""A connection that belongs to one thread, with what its errors mean."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from edge.keep.faults import StorageFault, StorageFull
from edge.keep.room import Room
from edge.keep.schema import DATABASE_FAULTS, FAULTS, is_broken, is_full, primary_code

Result = TypeVar("Result")


class OwnedConnection:
    """Reads and transactions on one connection, from the thread that made it."""

    def __init__(
        self, path: Path, db: sqlite3.Connection, room: Room, let_go: Callable[[], None]
    ) -> None:
        """`let_go` closes what is open beside the connection, when a fault ends its use."""
        self.db = db
        self._path, self._room, self._let_go = path, room, let_go
        self._owner = threading.get_ident()

    def read(self, work: Callable[[], Result]) -> Result:
        """Run `work` outside of a transaction. Raises StorageFault."""
        self._assert_owner()
        try:
            return work()
        except DATABASE_FAULTS as fault:
            raise self._failed(fault) from fault

    def write(self, work: Callable[[], Result]) -> Result:
        """Run `work` in a transaction; where the disk has no room, up to twice more.

        Once as it is, for a fault that passes must cost nothing; then with the ballast given, when
        `work` finds the room saying that the disk is full. Raises StorageFull (rolled back, still
        open) or StorageFault (closed).
        """
        self._assert_owner()
        for attempt in ("as it is", "again", "with the ballast given"):
            if attempt == "with the ballast given":
                self._room.give_ballast()
            try:
                return self._transaction(work)
            except DATABASE_FAULTS as fault:
                if not is_full(fault):
                    raise self._failed(fault) from fault
                full = fault
        raise StorageFull(f"{self._path}: {full}; make room on the disk") from full

    def close(self) -> None:
        """Close the connection and what is open beside it."""
        self.db.close()
        self._let_go()

    def _transaction(self, work: Callable[[], Result]) -> Result:
        self.db.execute("BEGIN IMMEDIATE")
        try:
            result = work()
            self.db.execute("COMMIT")
        except BaseException:
            if self.db.in_transaction:
                self.db.execute("ROLLBACK")
            raise
        return result

    def _assert_owner(self) -> None:
        assert threading.get_ident() == self._owner, "the durable file belongs to another thread"

    def _failed(self, fault: Exception) -> Exception:
        if primary_code(fault) not in FAULTS and not is_broken(fault):
            return fault
        self.close()
        return StorageFault(f"{self._path}: {fault}; open the file anew")
