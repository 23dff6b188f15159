"""Work for workers, in a module that they can load."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TypeVar

from gateway.replay.spreading import Workers

TaskT = TypeVar("TaskT")
ResultT = TypeVar("ResultT")


def doubled(number: int) -> int:
    return 2 * number


def fails(number: int) -> int:
    raise ValueError(f"task {number} is at fault")


def dies_once(task: tuple[int, str]) -> tuple[int, bool]:
    """Takes its worker down with it the first time; then twice the number, and whether this worker
    is another one than the first."""
    number, folder = task
    mark = Path(folder) / f"died-{number}"
    if number % 3 == 0 and not mark.exists():
        mark.write_text(str(os.getpid()))
        os.kill(os.getpid(), signal.SIGKILL)
    return 2 * number, mark.exists() and mark.read_text() != str(os.getpid())


def dies(_: int) -> int:
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError("still alive")


class Losing:
    """Workers of which one is killed once the first result has come."""

    def __init__(self, inner: Workers, kill: Callable[[], None]) -> None:
        self._inner, self._kill = inner, kill
        self.count = inner.count

    def results(
        self, work: Callable[[TaskT], ResultT], tasks: Iterable[TaskT]
    ) -> Iterator[ResultT]:
        found = iter(self._inner.results(work, tasks))
        for result in found:
            yield result
            break
        self._kill()
        yield from found
