"""What a campaign must find in the end: nothing lost, doubled or reordered, and both files whole.

Judged from the two databases alone, after all processes have ended: who was killed is no witness.
"""

from __future__ import annotations

import sqlite3
from bisect import bisect_left
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
    stream; holes: lost where no loss record speaks of it; wrong: whatever else must not be."""

    lost: dict[Stream, list[int]] = field(default_factory=dict)
    doubled: list[int] = field(default_factory=list)
    reordered: list[tuple[int, int]] = field(default_factory=list)
    declared: Counter[Stream] = field(default_factory=Counter)
    reasons: set[str] = field(default_factory=set)
    holes: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    records: int = 0

    def lost_count(self) -> int:
        return sum(map(len, self.lost.values()))

    def is_clean(self) -> bool:
        """Everything arrived, once and in order."""
        return not (self.lost or self.doubled or self.reordered or self.declared or self.wrong)

    def is_accounted_for(self) -> bool:
        """Everything arrived once and in order, or a loss record in its place stands for it (which
        may also speak of records that had arrived, or of what the unit adds of itself)."""
        return not (self.holes or self.doubled or self.reordered or self.wrong)

    def __str__(self) -> str:
        lost = {
            stream.value: (len(some), some[:5], some[-5:]) for stream, some in self.lost.items()
        }
        return (
            f"{self.records} records; lost {lost}; doubled {self.doubled[:9]}; reordered "
            f"{self.reordered[:9]}; declared {dict(self.declared)} {self.reasons}; "
            f"{self.holes[:5]} {self.wrong}"
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
    held = in_outbox(unit_folder) if outbox_counts else set()
    with closing(SqliteHistory(history_folder).reader(SITE)) as reader:
        for stream in Stream:
            _judge_stream(reader, stream, numbers(stream, until), held, unit, found)
    _check_whole(history_folder / HISTORY_NAME, found)
    if (unit_folder / FILE_NAME).exists():
        _check_whole(unit_folder / FILE_NAME, found)
    return found


def _judge_stream(
    reader: SiteReader, stream: Stream, made: list[int], held: set[int], unit: str, found: Found
) -> None:
    """made: the numbers of the stream. held: by the unit, which need not have arrived."""
    way: list[int | Loss] = []
    keys = [key for key in reader.marks() if (key.unit, key.stream) == (unit, stream)]
    for key in sorted(keys, key=lambda key: epoch_counter(key.epoch)):
        way += _judge_lane(reader, key, found)
    carried = [one for one in way if isinstance(one, int)]
    found.records += len(carried)
    expected = sorted(set(made) - (held - set(carried)))
    if missing := sorted(set(expected) - set(carried)):
        found.lost[stream] = missing
        found.holes += holes_in(stream, way, expected)
    found.doubled += [number for number, times in Counter(carried).items() if times > 1]
    found.reordered += [(one, two) for one, two in pairwise(carried) if two < one]
    if strange := set(carried) - set(made):
        found.wrong.append(f"{stream}: {len(strange)} numbers that were never made")


def holes_in(stream: Stream, way: list[int | Loss], expected: list[int]) -> list[str]:
    """Where more numbers are missing between two that arrived than loss records there name.

    Only a loss record in the very place speaks for what is missing there.
    """
    holes, left, named = [], 0, 0
    for one in (*way, expected[-1] + 1):
        if isinstance(one, Loss):
            named += one.count
            continue
        at = bisect_left(expected, one)
        if at - left > named:
            holes.append(f"{stream}: {at - left} missing before {one}, {named} named there")
        left, named = max(left, at + 1), 0
    return holes


def _judge_lane(reader: SiteReader, key: StreamKey, found: Found) -> list[int | Loss]:
    """The numbers that a lane carries, and the loss records between them; every sequence number
    must be held or covered."""
    way: list[int | Loss] = []
    at = 0
    while page := reader.lines(key, at):
        for entry in page:
            first = entry.seq
            if isinstance(entry.record, Loss):
                first = min(entry.record.first, at + 1)
                found.declared[key.stream] += entry.record.count
                found.reasons.add(entry.record.reason)
                way.append(entry.record)
            if first > at + 1:
                found.wrong.append(f"{key}: nothing between {at} and {first}")
            if (number := number_of(entry.record)) is not None:
                way.append(number)
            at = entry.seq
    if at != reader.marks()[key].upto:
        found.wrong.append(f"{key}: the mark says {reader.marks()[key].upto}, lines end at {at}")
    return way


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
