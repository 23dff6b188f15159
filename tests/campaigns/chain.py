"""Durable file, ingest and history in one process, without a network: for thousands of damages."""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from edge.keep import DurableFile, StorageFault
from edge.records import Record, Stream
from edge.wire import batch_message
from gateway.history.sqlite_store import SqliteHistory
from gateway.ingest.intake import Arrival, Intake
from tests.campaigns.gate import SITE, Found, judged
from tests.campaigns.numbered import record, stream_of
from tests.campaigns.unit_process import FILE_NAME
from tests.edge.keep.builders import UNIT, read, stamp

QUOTA_BYTES = 8 * 1024 * 1024


class Chain:
    """unit, history: their folders. made: records so far; places: under which epoch and number."""

    def __init__(self, folder: Path) -> None:
        self.unit, self.history = folder / "unit", folder / "history"
        self.unit.mkdir()
        self.made = 0
        self.places: dict[int, tuple[str, int]] = {}

    @classmethod
    def beside(cls, other: Chain, folder: Path) -> Chain:
        """A copy of a unit's card in another machine, at the same gateway."""
        folder.mkdir()
        double = cls(folder)
        shutil.rmtree(double.unit)
        shutil.copytree(other.unit, double.unit)
        double.history, double.made = other.history, other.made
        return double

    @contextmanager
    def opened(self) -> Iterator[DurableFile]:
        file = DurableFile(self.unit / FILE_NAME, UNIT, stamp(), quota_bytes=QUOTA_BYTES)
        try:
            yield file
        except StorageFault:
            raise  # it has let go of the file by itself
        except BaseException:
            file.close()
            raise
        file.close()

    def make(self, file: DurableFile, count: int) -> None:
        """Commit the next records."""
        numbers = range(self.made, self.made + count)
        rows: Sequence[Record] = [record(number) for number in numbers]
        last = file.commit(rows, {"numbered": {"made": self.made + count}}, stamp(self.made))
        for stream in Stream:
            of_stream = [number for number in numbers if stream_of(number) is stream]
            for place, number in enumerate(reversed(of_stream)):
                self.places[number] = (file.epoch, last[stream] - place)
        self.made += count

    def deliver(
        self, file: DurableFile, *, messages: int = 1_000_000, receipts: bool = True
    ) -> None:
        """Send what is not receipted, oldest epoch first, at most so many messages."""
        intake = Intake(SqliteHistory(self.history), [SITE], lambda *_: None)
        try:
            for lane in file.lanes():
                after = lane.released
                while messages and (batch := read(file, lane.epoch, lane.stream, after)):
                    topic = f"seafret/1/{UNIT}/up/{lane.stream.value}"
                    arrival = Arrival(topic, batch_message(batch), False, at_us=1)
                    (standing,) = intake.commit([arrival], at_us=1)
                    after, messages = batch.lines[-1].seq, messages - 1
                    assert standing.upto >= after, f"{standing} after {after}"
                    if receipts:
                        file.release(lane.epoch, lane.stream, after)
        finally:
            intake.close()

    def judged(self) -> Found:
        """The verdict; what is lost must lie in the ranges that loss records name."""
        found = judged(self.unit, self.history, self.made)
        reader = SqliteHistory(self.history).reader(SITE)
        ranges = [(one.key.epoch, one.key.stream, one.record) for one in reader.losses()]
        reader.close()
        for stream, lost in found.lost.items():
            for number in lost:
                epoch, seq = self.places[number]
                if not any(
                    (epoch, stream) == (of, where) and loss.first <= seq <= loss.last
                    for of, where, loss in ranges
                ):
                    found.wrong.append(f"record {number} at {epoch}/{seq} is in no loss record")
        return found


def flip(path: Path, chance: random.Random, bits: int) -> None:
    content = bytearray(path.read_bytes())
    for _ in range(bits):
        content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
    path.write_bytes(content)


def cut_short(path: Path, chance: random.Random) -> None:
    with path.open("r+b") as file:
        file.truncate(chance.randrange(path.stat().st_size))
