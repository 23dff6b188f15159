"""The seam for what people decided: an append-only journal beside the alarm journal.

The history does not read the lines; `gateway.trends.decided` writes and reads them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from gateway.history.store import PAGE_MAX, JournalLine


class DecisionReader(Protocol):
    """Reads the decisions of one site."""

    def decisions(self, after: int = 0, limit: int = PAGE_MAX) -> list[JournalLine]:
        """Lines numbered above `after`, in order."""


class DecisionWriter(Protocol):
    """Adds decisions to one site."""

    def append_decisions(self, lines: Sequence[JournalLine]) -> None:
        """All lines or none, durable on return; they follow on the last one that is there.

        Raises MarkConflict where they do not; HistoryFault where the database cannot write.
        """
