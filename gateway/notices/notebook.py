"""The book of notices as the desk keeps it, and what stands in it by now.

Two ways to a line. What is to be sent stands in the book before anybody knows of it. What became of
a notice is so whether it can be written or not: it counts at once, and the line is owed to the book
until it can be written.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterable

from edge.wire import canonical
from gateway.books import Books
from gateway.notices import lines, memory, planning
from gateway.notices.lines import Line
from gateway.notices.memory import Memory
from gateway.notices.planning import Planned

BOOK = "notices"


class Notebook:
    """One lock holds for all that is decided on what stands here. changed: told after lines."""

    def __init__(
        self, books: Books, now_us: Callable[[], int], changed: Callable[[], None]
    ) -> None:
        """Raises BookFault."""
        self._books, self._now_us, self._changed = books, now_us, changed
        before = [json.loads(one.body) for one in books.read(BOOK)]
        self.one_at_a_time = threading.RLock()
        self.planned = planning.fold(Planned(), before)
        self.memory = memory.fold(Memory(), before)
        self._owed: list[bytes] = []

    def write(self, fresh: Iterable[Line]) -> bool:
        """All lines or none; whether there were any. Raises BookFault."""
        with self.one_at_a_time:
            now_us = self._now_us()
            whole = list(lines.numbered(fresh, self.planned.numbers, now_us))
            if whole:
                self._books.append(BOOK, now_us, [canonical(one) for one in whole])
                self._hold(whole)
            return bool(whole)

    def note(self, fate: Line) -> None:
        """What became of a notice; `settle` writes it."""
        with self.one_at_a_time:
            whole = list(lines.numbered([fate], self.planned.numbers, self._now_us()))
            self._owed += [canonical(one) for one in whole]
            self._hold(whole)

    def settle(self) -> None:
        """Writes what is owed. Raises BookFault; then it is owed still."""
        with self.one_at_a_time:
            if self._owed:
                self._books.append(BOOK, self._now_us(), self._owed)
                self._owed = []

    def _hold(self, whole: list[Line]) -> None:
        self.planned = planning.fold(self.planned, whole)
        self.memory = memory.fold(self.memory, whole)
        self._changed()
