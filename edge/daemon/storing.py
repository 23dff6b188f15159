"""Records on their way into the durable file: grouped, in one transaction with the states.

Lives in the one thread that owns the file; `answers` are for the sender.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping, Sequence
from typing import TypeVar

from edge.keep import DurableFile, Stamp, StorageFault, StorageFull
from edge.keep.eviction import RETENTION_US
from edge.records import ConditionChange, Record, Stream, UnitEvent, WeatherRow
from edge.send.messages import (
    Fetch,
    Fetched,
    Held,
    KeeperAnswer,
    NewEpoch,
    Release,
    Reopen,
    Reopened,
)
from edge.wire import Batch

log = logging.getLogger("seafret.keep")

Result = TypeVar("Result")

GROUP_NS = 2_000_000_000
"""Routine rows wait for each other at most this long: the rows of a minute come within a second of
its health record, and one forced write is enough for all of them."""

COMPANY_NS = 60_000_000_000
"""Weather waits this long for company: a forced write for a single reading would wear the flash,
and nothing is decided on it but with the rows of its minute."""

GROUP_RECORDS = 500
"""So many are committed without waiting: a stored signal is played faster than it was recorded."""

TRIM_ROUNDS = 20
"""Forgetting old released rows holds up the keeper at most for so many short transactions."""

WAITING_MAX = 20_000
"""More records than a full disk lets in end the daemon: they would be lost at the next cut."""


Told = Callable[[Sequence[Record]], None]
"""Hears of records once they are durable; must not block."""


def nobody(records: Sequence[Record]) -> None:
    """Nobody listens."""


class Store:
    """The durable file, and the records that wait for the next commit."""

    def __init__(
        self,
        open_file: Callable[[], DurableFile],
        stamp: Callable[[], Stamp],
        now_ns: Callable[[], int],
        told: Told = nobody,
    ) -> None:
        """Opens the file; raises FileInUse, ForeignFile, StorageFault. told: what is committed."""
        self._open_file, self._stamp, self._now_ns = open_file, stamp, now_ns
        self._told = told
        self._file = open_file()
        self._waiting: list[Record] = []
        self._due_ns: int | None = None
        self._lasts: dict[tuple[str, Stream], int] = {}
        self._answers: list[KeeperAnswer] = []
        self._unserved: dict[tuple[type, str, Stream], Fetch | Release | Reopen] = {}
        self._tell_lanes()
        self.committed_ns = now_ns()

    @property
    def epoch(self) -> str:
        return self._file.epoch

    def add(self, records: Sequence[Record]) -> None:
        """Let records wait for the next commit; alarms make it due at once."""
        if not records:
            return
        self._waiting += records
        waits_ns = min(map(_waits_ns, records))
        due_ns = self._now_ns() + (0 if len(self._waiting) >= GROUP_RECORDS else waits_ns)
        self._due_ns = due_ns if self._due_ns is None else min(self._due_ns, due_ns)

    def wait_s(self) -> float | None:
        """Until a commit is due; None where nothing waits."""
        return None if self._due_ns is None else max(0.0, (self._due_ns - self._now_ns()) / 1e9)

    def commit(self, states: Mapping[str, object]) -> None:
        """What waits, and the states that belong to it. Where the disk is full they wait on.

        Raises StorageFault where it fails twice on end.
        """
        try:
            self._file.commit(self._waiting, states, self._stamp())
        except StorageFull as fault:
            log.warning("%s; %d records wait", fault, len(self._waiting))
            self._due_ns = self._now_ns() + GROUP_NS
            if len(self._waiting) > WAITING_MAX:
                raise
            return
        except StorageFault as fault:
            before = self._lasts
            self._open_anew(fault)
            if _lasts(self._file).items() >= before.items():  # as it was: nothing was written
                self._file.commit(self._waiting, states, self._stamp())
        _say(self._waiting)
        self._told(self._waiting)
        self._waiting, self._due_ns = [], None
        self.committed_ns = self._now_ns()
        self._tell_lanes()
        unserved, self._unserved = self._unserved, {}
        for request in unserved.values():
            self.serve(request)

    def trim(self, now_us: int) -> None:
        """Forget released rows that no gateway's backup can lack; at a trusted time only."""
        for _ in range(TRIM_ROUNDS):
            try:
                if not self._on_file(lambda file: file.trim_released(now_us - RETENTION_US)):
                    return
            except StorageFull as fault:
                log.warning("%s; old rows stay for now", fault)
                return

    def snapshot(self, name: str) -> object | None:
        """A state as it was committed last."""
        return self._on_file(lambda file: file.snapshot(name))

    def backlog(self) -> int:
        """Records that the gateway has not receipted."""
        return self._on_file(DurableFile.backlog)

    def storage_free_ppm(self) -> int:
        """Share of the quota that is free."""
        return self._on_file(DurableFile.storage_free_ppm)

    def serve(self, request: Fetch | Release | Reopen) -> None:
        """What the sender asks of the file; while the disk is full it waits for the next commit."""
        try:
            self._serve(request)
        except StorageFull as fault:
            log.warning("%s; the sender waits", fault)
            self._unserved[type(request), request.epoch, request.stream] = request
            due_ns = self._now_ns() + GROUP_NS
            self._due_ns = due_ns if self._due_ns is None else self._due_ns

    def _serve(self, request: Fetch | Release | Reopen) -> None:
        epoch, stream = request.epoch, request.stream
        if isinstance(request, Release):
            self._on_file(lambda file: file.release(epoch, stream, request.upto))
        elif isinstance(request, Reopen):
            lane = self._on_file(lambda file: file.reopen(epoch, stream, request.first))
            if lane is not None:
                self._answers.append(Reopened(epoch, stream, lane.released, lane.last))
        else:
            batch = self._on_file(lambda file: self._window(file, request))
            self._answers.append(Fetched(epoch, stream, request.after, batch))

    def _window(self, file: DurableFile, request: Fetch) -> Batch | None:
        return file.read_window(
            *(request.epoch, request.stream, request.after),
            *(request.records_max, request.bytes_max, self._stamp()),
        )

    def answers(self) -> list[KeeperAnswer]:
        """What the sender is to be told since the last call."""
        answers, self._answers = self._answers, []
        return answers

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    def _on_file(self, work: Callable[[DurableFile], Result]) -> Result:
        """Work on the file, once more on one opened anew where the disk failed it."""
        try:
            return work(self._file)
        except StorageFault as fault:
            self._open_anew(fault)
            return work(self._file)

    def _open_anew(self, fault: StorageFault) -> None:
        log.warning("%s", fault)
        before = self._file.epoch
        self._file = self._open_file()
        if self._file.epoch != before:
            self._answers.append(NewEpoch(self._file.epoch))
        self._tell_lanes()

    def _tell_lanes(self) -> None:
        """Tell the sender of every lane that has come further."""
        lasts = _lasts(self._file)
        for lane in self._file.lanes():
            if lasts[lane.epoch, lane.stream] != self._lasts.get((lane.epoch, lane.stream)):
                self._answers.append(Held(lane.epoch, lane.stream, lane.released, lane.last))
        self._lasts = lasts


def _lasts(file: DurableFile) -> dict[tuple[str, Stream], int]:
    return {(lane.epoch, lane.stream): lane.last for lane in file.lanes()}


def _say(records: Sequence[Record]) -> None:
    """What people look for in the journal, once it is durable."""
    for one in records:
        if isinstance(one, ConditionChange):
            log.warning("%s %s %s", one.alarm, one.subject or "unit", one.condition.value)
        elif isinstance(one, UnitEvent):
            log.info("%s %s", one.event, one.detail)


def _waits_ns(record: Record) -> int:
    """How long a record may wait for others; alarms and what concerns security do not."""
    security = isinstance(record, UnitEvent) and record.detail.get("security") == 1
    if security or isinstance(record, ConditionChange):
        return 0
    return COMPANY_NS if isinstance(record, WeatherRow) else GROUP_NS
