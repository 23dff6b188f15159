"""Work spread over processes of this machine or a cluster: the same results in the same order.

A task is a plain argument of a plain function and touches nothing that another one does, so a
worker that is lost costs the tasks that it held, and they are given to another one. However many
workers there are, results come in the order of the tasks.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from importlib import import_module
from itertools import islice
from types import TracebackType
from typing import Any, Protocol, TypeVar

from edge.allocator import keep_freed_memory

LOSSES_MAX = 3
"""A task that takes more workers than these down with it is given up, and the run says so."""

HELD_MAX = 2
"""Tasks that one worker holds: the next is there when one ends, and a loss costs no more."""

TaskT = TypeVar("TaskT")
ResultT = TypeVar("ResultT")


class WorkersLost(OSError):
    """Workers, or the scheduler that leads to them, cannot be reached or do not stay alive. What
    was kept of the run stays; the same command goes on with it."""


class Workers(Protocol):
    """Whoever does the work. count: how many work at once."""

    @property
    def count(self) -> int: ...

    def results(
        self, work: Callable[[TaskT], ResultT], tasks: Iterable[TaskT]
    ) -> Iterator[ResultT]:
        """What the work makes of each task, in the order of the tasks. Raises what the work raises;
        WorkersLost."""


class ThisProcess:
    """No other worker than ourselves."""

    count = 1

    def results(
        self, work: Callable[[TaskT], ResultT], tasks: Iterable[TaskT]
    ) -> Iterator[ResultT]:
        """One after the other, each when it is asked for."""
        return map(work, tasks)


@dataclass(slots=True, eq=False)
class _Worker:
    """One process. A pool of one each, so that a lost process breaks no other one's pool."""

    pool: ProcessPoolExecutor
    held: int = 0


@dataclass(slots=True)
class _Sent:
    """A task on its way. pool: that it was given to, before any loss."""

    place: int
    task: Any
    worker: _Worker
    pool: ProcessPoolExecutor
    losses: int


class OwnProcesses:
    """So many processes of this machine, for as long as the block runs.

    ahead: module that they load at once, before there is work.
    """

    def __init__(self, count: int, ahead: str | None = None) -> None:
        self.count = count
        self._ahead = ahead
        self._workers: list[_Worker] = []

    def __enter__(self) -> OwnProcesses:
        self._workers = [_Worker(_pool()) for _ in range(self.count)]
        # a worker begins with its first task; so it is up while we are still at the feed
        for worker in self._workers:
            worker.pool.submit(_loaded, self._ahead)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for worker in self._workers:
            worker.pool.shutdown(wait=kind is None, cancel_futures=True)

    def results(
        self, work: Callable[[TaskT], ResultT], tasks: Iterable[TaskT]
    ) -> Iterator[ResultT]:
        """In the order of the tasks, which are taken from the iterable as workers come free."""
        coming = iter(enumerate(tasks))
        sent: dict[Future[ResultT], _Sent] = {}
        done: dict[int, ResultT] = {}
        place = 0
        while True:
            room = HELD_MAX * self.count - len(sent) - len(done)
            for number, task in islice(coming, max(0, room)):
                self._give(work, number, task, 0, sent)
            if place in done:
                yield done.pop(place)
                place += 1
                continue
            if not sent:
                return
            for future in wait(sent, return_when=FIRST_COMPLETED).done:
                one = sent.pop(future)
                one.worker.held -= 1
                try:
                    done[one.place] = future.result()
                except BrokenProcessPool as fault:
                    self._lost(work, one, fault, sent)

    def _give(
        self,
        work: Callable[[Any], ResultT],
        place: int,
        task: object,
        losses: int,
        sent: dict[Future[ResultT], _Sent],
    ) -> None:
        worker = min(self._workers, key=lambda one: one.held)
        try:
            future = worker.pool.submit(work, task)
        except BrokenProcessPool:
            worker.pool = _pool()
            future = worker.pool.submit(work, task)
        worker.held += 1
        sent[future] = _Sent(place, task, worker, worker.pool, losses)

    def _lost(
        self,
        work: Callable[[Any], ResultT],
        one: _Sent,
        fault: BrokenProcessPool,
        sent: dict[Future[ResultT], _Sent],
    ) -> None:
        """A worker died: a new one in its place, and its task again."""
        if one.losses >= LOSSES_MAX:
            raise WorkersLost(
                f"a task was given to {one.losses + 1} processes and each of them died; look for "
                "what ends them (memory, by the system's log), then start the same command again"
            ) from fault
        if one.worker.pool is one.pool:
            one.pool.shutdown(wait=False)
            one.worker.pool = _pool()
        self._give(work, one.place, one.task, one.losses + 1, sent)


def _loaded(module: str | None) -> None:
    """In a worker: so that its first task finds the module there."""
    if module is not None:
        import_module(module)


def _pool() -> ProcessPoolExecutor:
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(1, mp_context=context, initializer=keep_freed_memory)


def opened_workers(
    processes: int, scheduler: str | None = None, ahead: str | None = None
) -> AbstractContextManager[Workers]:
    """Workers for a block: this process alone, several of this machine, or those of a cluster.

    ahead: module that processes of this machine load before there is work.
    Raises WorkersLost, ModuleNotFoundError where a cluster's library is not installed.
    """
    if scheduler is not None:
        from gateway.replay.cluster import Cluster

        return Cluster(scheduler)
    return nullcontext(ThisProcess()) if processes == 1 else OwnProcesses(processes, ahead)
