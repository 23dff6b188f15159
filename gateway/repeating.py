"""A thread that does something again and again until it is asked to stop."""

from __future__ import annotations

import threading
from abc import abstractmethod
from collections.abc import Callable


class Repeating(threading.Thread):
    """name: of the thread. on_end: told which fault of the program ended it; nothing when asked to.

    rounds: how often it came round.
    """

    def __init__(
        self,
        name: str,
        first_s: float,
        every_s: float,
        on_end: Callable[[BaseException | None], None],
    ) -> None:
        super().__init__(name=name, daemon=True)
        self._wait_s, self._every_s = first_s, every_s
        self._on_end = on_end
        self._asked_to_stop = threading.Event()
        self.rounds = 0

    @abstractmethod
    def round(self) -> None:
        """What is done each time."""

    def run(self) -> None:
        """Until asked to stop."""
        try:
            while not self._asked_to_stop.wait(self._wait_s):
                self.round()
                self.rounds += 1
                self._wait_s = self._every_s
        except BaseException as fault:
            self._on_end(fault)

    def stop(self) -> None:
        """Ends after the round at hand."""
        self._asked_to_stop.set()
        if self.ident is not None:
            self.join()
