"""The durable file under a machine that cuts it down at any point and opens what is left."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from edge.keep import Calibration, Lane
from edge.keep.durable_file import DurableFile
from edge.records import Record, Stream
from edge.wire import read_record
from tests.edge.keep.builders import alarm, minute_row, open_file, read, read_all, stamp

STREAMS = st.sampled_from([Stream.ALARM, Stream.INTERVAL])
MEMORY = Path("/dev/shm")
"""A folder in memory where there is one: what is cut here is the process, not the power."""


class CutsWhileRead(Sequence[Calibration]):
    """No calibrations, but the files are copied when a commit comes to them."""

    def __init__(self, machine: CutDown) -> None:
        self._machine = machine

    def __len__(self) -> int:
        return 0

    def __getitem__(self, at: object) -> Calibration:  # type: ignore[override]
        raise IndexError

    def __iter__(self) -> Iterator[Calibration]:
        self._machine.copy_files()
        return iter(())


class CutDown(RuleBasedStateMachine):
    """`made` is what was committed, `gateway` what it holds, by (epoch, stream)."""

    kind: type[DurableFile] = DurableFile

    @initialize()
    def begin(self) -> None:
        where = str(MEMORY) if MEMORY.is_dir() else None
        self.folder = Path(tempfile.mkdtemp(prefix="seafret-cut-", dir=where))
        self.copies = 0
        self.current = self.folder / "0"
        self.current.mkdir()
        self.file = open_file(self.current / "durable.db", kind=self.kind)
        self.epoch = self.file.epoch
        self.steps: object = None
        self.made: dict[Stream, list[Record]] = {Stream.ALARM: [], Stream.INTERVAL: []}
        self.gateway: dict[Stream, list[Record]] = {Stream.ALARM: [], Stream.INTERVAL: []}

    @rule(alarms=st.integers(0, 3), minutes=st.integers(0, 40))
    def commit(self, alarms: int, minutes: int) -> None:
        self.file.commit(*self._next(alarms, minutes), stamp())
        self._note(alarms, minutes)

    @rule(minutes=st.integers(1, 40))
    def cut_within_a_commit(self, minutes: int) -> None:
        self.file.commit(*self._next(0, minutes), stamp(), CutsWhileRead(self))
        self._open_copy()

    @rule(stream=STREAMS, records=st.integers(1, 50))
    def send(self, stream: Stream, records: int) -> None:
        held = self.gateway[stream]
        batch = read(self.file, self.epoch, stream, len(held), records_max=records)
        for line in batch.lines if batch else ():
            assert line.seq == len(held) + 1, "the gateway was sent a number that is not the next"
            held.append(read_record(line.body))

    @rule(stream=STREAMS)
    def receipt(self, stream: Stream) -> None:
        self.file.release(self.epoch, stream, len(self.gateway[stream]))

    @rule(stream=STREAMS, beyond=st.integers(1, 1000))
    def forged_receipt(self, stream: Stream, beyond: int) -> None:
        self.file.release(self.epoch, stream, len(self.made[stream]) + 1 + beyond)

    @rule()
    def cut(self) -> None:
        self.copy_files()
        self._open_copy()

    @rule()
    def restart(self) -> None:
        self.file.close()
        self.file = open_file(self.current / "durable.db", kind=self.kind)

    @invariant()
    def nothing_vanished(self) -> None:
        if not hasattr(self, "file"):
            return
        assert (self.file.epoch, self.file.new_epoch in ("", "created")) == (self.epoch, True)
        for stream, made in self.made.items():
            lane = self._lane(stream)
            assert lane.last == len(made) + 1
            assert lane.released <= len(self.gateway[stream])
        assert self.file.snapshot("steps") == self.steps

    def teardown(self) -> None:
        if not hasattr(self, "file"):
            return
        for stream, made in self.made.items():
            held = self.gateway[stream]
            held += [record for _, record in read_all(self.file, self.epoch, stream, len(held))]
            assert held[1:] == made
        self.file.close()
        shutil.rmtree(self.folder)

    def copy_files(self) -> None:
        """What lies on the disk now, as a killed process leaves it."""
        self.copies += 1
        shutil.copytree(self.current, self.folder / str(self.copies))

    def _open_copy(self) -> None:
        self.file.close()
        self.current = self.folder / str(self.copies)
        self.file = open_file(self.current / "durable.db", kind=self.kind)

    def _next(self, alarms: int, minutes: int) -> tuple[list[Record], dict[str, object]]:
        at_alarm, at_minute = len(self.made[Stream.ALARM]), len(self.made[Stream.INTERVAL])
        records: list[Record] = [alarm(at_alarm + n) for n in range(alarms)]
        records += [minute_row(at_minute + n) for n in range(minutes)]
        return records, {"steps": {"made": self._count() + alarms + minutes}}

    def _note(self, alarms: int, minutes: int) -> None:
        records, snapshots = self._next(alarms, minutes)
        self.steps = snapshots["steps"]
        for record in records:
            self.made[Stream.ALARM if record.kind == "condition" else Stream.INTERVAL].append(
                record
            )

    def _count(self) -> int:
        return sum(map(len, self.made.values()))

    def _lane(self, stream: Stream) -> Lane:
        return next(lane for lane in self.file.lanes() if lane.stream is stream)


CutDown.TestCase.settings = settings(
    max_examples=25,
    stateful_step_count=25,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)


class TestNothingIsLostWhereverTheProcessIsKilled(CutDown.TestCase):  # type: ignore[name-defined,misc]
    """Hypothesis looks for a sequence of events that loses, repeats or reorders a record."""
