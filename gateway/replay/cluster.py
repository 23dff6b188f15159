"""A Dask cluster's workers, for `spreading`; loaded only when a scheduler is named.

Tasks carry paths, not data: every worker must see recordings, histories and the folder for results
under the same paths, and have the same version of seafret. A worker that is lost costs the tasks
it held; the scheduler gives them to another one.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from importlib import import_module
from itertools import islice
from types import TracebackType
from typing import Any, TypeVar

from edge.allocator import keep_freed_memory
from edge.version import __version__
from gateway.replay.spreading import HELD_MAX, WorkersLost

distributed: Any = import_module("distributed")
comm: Any = import_module("distributed.comm.core")

CONNECT_S_MAX = 30.0
"""A scheduler that has not answered, or has no worker, by then cannot be reached."""

TaskT = TypeVar("TaskT")
ResultT = TypeVar("ResultT")


def _told_version() -> str:
    """Runs on a worker, which it readies, too."""
    keep_freed_memory()
    return __version__


class Cluster:
    """The workers behind a scheduler's address, for as long as the block runs."""

    def __init__(self, address: str) -> None:
        self._address = address
        self._client: Any = None

    def __enter__(self) -> Cluster:
        try:
            self._client = distributed.Client(self._address, timeout=CONNECT_S_MAX)
        except (OSError, ValueError) as fault:
            raise WorkersLost(
                f"--scheduler {self._address}: {fault}; start it with 'dask scheduler' and name "
                "the address that it prints"
            ) from fault
        try:
            self._client.wait_for_workers(1, timeout=CONNECT_S_MAX)
            self._check_versions()
        except BaseException as fault:
            self._client.close()
            if isinstance(fault, TimeoutError):
                raise WorkersLost(
                    f"--scheduler {self._address}: no worker within {CONNECT_S_MAX:.0f} s; start "
                    f"some with 'dask worker {self._address} --nthreads 1'"
                ) from fault
            raise
        return self

    def _check_versions(self) -> None:
        odd = {where: v for where, v in self._client.run(_told_version).items() if v != __version__}
        if odd:
            told = ", ".join(f"{where} has {version}" for where, version in sorted(odd.items()))
            raise WorkersLost(
                f"--scheduler {self._address}: {told}; all must have seafret {__version__}, else "
                "the results could differ"
            )

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._client.close()

    @property
    def count(self) -> int:
        """Threads of all workers, as many as there are now."""
        threads: int = sum(self._client.nthreads().values())
        return max(1, threads)

    def results(
        self, work: Callable[[TaskT], ResultT], tasks: Iterable[TaskT]
    ) -> Iterator[ResultT]:
        """In the order of the tasks; each worker has its next one before it ends its last."""
        coming = iter(tasks)
        sent: deque[Any] = deque()
        while True:
            room = HELD_MAX * self.count - len(sent)
            for task in islice(coming, max(0, room)):
                sent.append(self._client.submit(work, task, pure=False))
            if not sent:
                return
            yield self._result(sent.popleft())

    def _result(self, future: Any) -> Any:
        try:
            return future.result()
        except distributed.KilledWorker as fault:
            raise WorkersLost(
                f"--scheduler {self._address}: {fault}; look for what ends the workers (memory, by "
                "their logs), then start the same command again"
            ) from fault
        except (CancelledError, comm.CommClosedError) as fault:
            raise WorkersLost(
                f"--scheduler {self._address}: the scheduler has gone away ({fault}); start it "
                "again, then the same command"
            ) from fault
