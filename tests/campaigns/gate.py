"""What a campaign must find in the end: nothing lost, doubled or reordered, and both files whole.

Judged from the two databases alone, after all processes have ended: who was killed is no witness.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from contextlib import closing
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

from edge.keep.ledger import epoch_counter
from edge.records import Loss, Stream
from edge.wire import read_record
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import SiteReader, StreamKey
from tests.campaigns.numbered import number_of, numbers
from tests.campaigns.unit_process import FILE_NAME
from tests.edge.keep.builders import UNIT

SITE = UNIT.partition(".")[0]
HISTORY_NAME = f"{SITE}.sqlite3"


@dataclass
class Found:
    """lost, doubled: numbers; reordered: pairs; declared: numbers that loss records stand for, by
    stream; wrong: whatever else must not be."""

    lost: dict[Stream, list[int]] = field(default_factory=dict)
    doubled: list[int] = field(default_factory=list)
    reordered: list[tuple[int, int]] = field(default_factory=list)
    declared: Counter[Stream] = field(default_factory=Counter)
    reasons: set[str] = field(default_factory=set)
    wrong: list[str] = field(default_factory=list)
    records: int = 0

    def lost_count(self) -> int:
        return sum(map(len, self.lost.values()))

    def is_clean(self) -> bool:
        """Everything arrived, once and in order."""
        return not (self.lost or self.doubled or self.reordered or self.declared or self.wrong)

    def is_accounted_for(self) -> bool:
        """Everything arrived once and in order, or a loss record stands for it (which may also
        speak of records that had arrived, or of what the unit adds of itself)."""
        short = {stream: len(lost) for stream, lost in self.lost.items()}
        covered = all(count <= self.declared[stream] for stream, count in short.items())
        return covered and not (self.doubled or self.reordered or self.wrong)

    def __str__(self) -> str:
        lost = {
            stream.value: (len(some), some[:5], some[-5:]) for stream, some in self.lost.items()
        }
        return (
            f"{self.records} records; lost {lost}; doubled {self.doubled[:9]}; reordered "
            f"{self.reordered[:9]}; declared {dict(self.declared)} {self.reasons}; {self.wrong}"
        )


def judged(
    unit_folder: Path,
    history_folder: Path,
    until: int,
    unit: str = UNIT,
    *,
    outbox_counts: bool = False,
) -> Found:
    """The verdict on records 0 to `until` - 1 of a unit.

    outbox_counts: what the unit still holds is not lost either, for a campaign that does not drain.
    """
    found = Found()
    with closing(SqliteHistory(history_folder).reader(SITE)) as reader:
        for stream in Stream:
            _judge_stream(reader, stream, numbers(stream, until), unit, found)
    if outbox_counts:
        held = in_outbox(unit_folder)
        left = {stream: sorted(set(lost) - held) for stream, lost in found.lost.items()}
        found.lost = {stream: lost for stream, lost in left.items() if lost}
    _check_whole(history_folder / HISTORY_NAME, found)
    if (unit_folder / FILE_NAME).exists():
        _check_whole(unit_folder / FILE_NAME, found)
    return found


def _judge_stream(
    reader: SiteReader, stream: Stream, expected: list[int], unit: str, found: Found
) -> None:
    carried: list[int] = []
    keys = [key for key in reader.marks() if (key.unit, key.stream) == (unit, stream)]
    for key in sorted(keys, key=lambda key: epoch_counter(key.epoch)):
        carried += _judge_lane(reader, key, found)
    found.records += len(carried)
    if missing := sorted(set(expected) - set(carried)):
        found.lost[stream] = missing
    found.doubled += [number for number, times in Counter(carried).items() if times > 1]
    found.reordered += [(one, two) for one, two in pairwise(carried) if two < one]
    if strange := set(carried) - set(expected):
        found.wrong.append(f"{stream}: {len(strange)} numbers that were never made")


def _judge_lane(reader: SiteReader, key: StreamKey, found: Found) -> list[int]:
    """The numbers that a lane carries; every sequence number must be held or covered."""
    carried, at = [], 0
    while page := reader.lines(key, at):
        for entry in page:
            first = entry.seq
            if isinstance(entry.record, Loss):
                first = min(entry.record.first, at + 1)
                found.declared[key.stream] += entry.record.count
                found.reasons.add(entry.record.reason)
            if first > at + 1:
                found.wrong.append(f"{key}: nothing between {at} and {first}")
            if (number := number_of(entry.record)) is not None:
                carried.append(number)
            at = entry.seq
    if at != reader.marks()[key].upto:
        found.wrong.append(f"{key}: the mark says {reader.marks()[key].upto}, lines end at {at}")
    return carried


def _check_whole(path: Path, found: Found) -> None:
    with closing(sqlite3.connect(path)) as db:
        said = db.execute("PRAGMA integrity_check").fetchall()
    if said != [("ok",)]:
        found.wrong.append(f"{path.name}: {said[:3]}")


def in_outbox(unit_folder: Path) -> set[int]:
    """Numbers of the records that the unit's file still holds, sent or not."""
    with closing(sqlite3.connect(unit_folder / FILE_NAME)) as db:
        bodies = [bytes(body) for (body,) in db.execute("SELECT body FROM outbox")]
    return {number for body in bodies if (number := number_of(read_record(body))) is not None}


def stored_marks(history_folder: Path, unit: str = UNIT) -> dict[str, int]:
    """How far the history holds each "epoch/stream" of a unit; also while it is written."""
    if not (history_folder / HISTORY_NAME).exists():
        return {}
    with closing(SqliteHistory(history_folder).reader(SITE)) as reader:
        return {
            f"{key.epoch}/{key.stream.value}": mark.upto
            for key, mark in reader.marks().items()
            if key.unit == unit
        }
