"""Rows and lanes of the durable file, inside a transaction that the caller holds.

A lane is one stream of one epoch. Sequence numbers 1, 2, ... of a lane are each held by a row, or
covered by a tombstone: a Loss record that sits at the last number it stands for. Below the released
mark rows may be missing: the gateway has them.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import IntEnum

from edge.keep.schema import SEQ_BITS
from edge.records import (
    Capture,
    CapturePart,
    ClockCorrection,
    ConditionChange,
    EpochStart,
    HealthRow,
    IntervalRow,
    Loss,
    Stream,
    UnitEvent,
    WeatherRow,
)

STREAMS = tuple(Stream)
EPOCH_COUNTER_MAX = 1 << 22
"""Four million new epochs; beyond it `lane_number` fails as a bug."""


class Rank(IntEnum):
    """What is given up first when the quota is full: lowest first, alarms last of all."""

    HEALTH = 0
    CAPTURE = 1
    WEATHER = 2
    INTERVAL = 3
    NOTICE = 4
    ALARM = 5
    TOMBSTONE = 9  # never given up; neighbours unite


RANK_OF: dict[type, Rank] = {
    HealthRow: Rank.HEALTH,
    Capture: Rank.CAPTURE,
    CapturePart: Rank.CAPTURE,
    WeatherRow: Rank.WEATHER,
    IntervalRow: Rank.INTERVAL,
    ClockCorrection: Rank.NOTICE,
    UnitEvent: Rank.NOTICE,
    EpochStart: Rank.NOTICE,
    ConditionChange: Rank.ALARM,
    Loss: Rank.TOMBSTONE,
}


@dataclass(frozen=True, slots=True)
class Stamp:
    """When and by which clock a commit was made; it travels with its rows."""

    boot: str
    clock: str
    t_boot_ns: int
    t_utc_us: int


@dataclass(frozen=True, slots=True)
class Lane:
    """One stream of one epoch; the marks are sequence numbers (see the table's comments)."""

    number: int
    epoch: str
    stream: Stream
    last: int
    promised: int
    released: int
    kept_bytes: int

    def place(self, seq: int) -> int:
        return (self.number << SEQ_BITS) + seq


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the outbox, as found: only `is_sound` says that it is what was written."""

    seq: int
    first: int
    rank: int
    boot: int
    t_boot_ns: int
    t_utc_us: int
    sha: bytes
    body: bytes


def epoch_counter(epoch: str) -> int:
    """The counter in front of an epoch's name."""
    return int(epoch.split("-")[0], 16)


def lane_number(epoch: str, stream: Stream) -> int:
    """Number of a lane: computed, so that rows can be told apart where the lanes are lost."""
    counter = epoch_counter(epoch)
    assert counter < EPOCH_COUNTER_MAX
    return counter * 8 + STREAMS.index(stream)


def row_sha(place: int, first: int, t_boot_ns: int, t_utc_us: int, body: bytes) -> bytes:
    """Digest over a row and its place, 16 bytes of SHA-256: a flipped bit anywhere shows."""
    head = f"{place}|{first}|{t_boot_ns}|{t_utc_us}|".encode()
    return hashlib.sha256(head + body).digest()[:16]


def _lane_sha(lane: Lane) -> bytes:
    marks = (lane.number, lane.epoch, lane.stream.value, lane.last, lane.promised, lane.released)
    return hashlib.sha256(repr(marks).encode()).digest()[:16]


_LANE = "SELECT number, epoch, stream, last, promised, released, kept_bytes, sha FROM lanes "


def lanes(db: sqlite3.Connection) -> tuple[Lane, ...]:
    """All lanes, oldest epoch first."""
    return tuple(_lane(found) for found in db.execute(_LANE + "ORDER BY number"))


def sound_lanes(db: sqlite3.Connection) -> Iterator[Lane]:
    """Lanes that are what was written; the others are left out."""
    for found in db.execute(_LANE + "ORDER BY number"):
        if found[2] in STREAMS:
            lane = _lane(found)
            if _lane_sha(lane) == found[-1]:
                yield lane


def higher_marks(lane: Lane, other: Lane) -> Lane:
    """The lane with the higher of each mark of two accounts of it."""
    return replace(
        lane,
        last=max(lane.last, other.last),
        promised=max(lane.promised, other.promised),
        released=max(lane.released, other.released),
    )


def find_lane(db: sqlite3.Connection, epoch: str, stream: Stream) -> Lane | None:
    found = db.execute(_LANE + "WHERE epoch=? AND stream=?", (epoch, stream.value)).fetchone()
    return None if found is None else _lane(found)


def _lane(found: tuple[int, str, str, int, int, int, int, bytes]) -> Lane:
    return Lane(found[0], found[1], Stream(found[2]), *found[3:7])


def save_lane(db: sqlite3.Connection, lane: Lane) -> Lane:
    """Write a lane's marks; returns it. The index on epoch and stream is not touched again."""
    db.execute(
        "INSERT INTO lanes VALUES (?,?,?,?,?,?,?,?) ON CONFLICT (number) DO UPDATE SET "
        "last=excluded.last, promised=excluded.promised, released=excluded.released, "
        "kept_bytes=excluded.kept_bytes, sha=excluded.sha",
        (
            *(lane.number, lane.epoch, lane.stream.value),
            *(lane.last, lane.promised, lane.released, lane.kept_bytes, _lane_sha(lane)),
        ),
    )
    return lane


def new_lane(epoch: str, stream: Stream) -> Lane:
    return Lane(lane_number(epoch, stream), epoch, stream, 0, 0, 0, 0)


def boot_number(db: sqlite3.Connection, stamp: Stamp) -> int:
    """The number under which a boot and its clock are known, added where new."""
    key = (stamp.boot, stamp.clock)
    found = db.execute("SELECT number FROM boots WHERE boot=? AND clock=?", key).fetchone()
    if found is None:
        return int(db.execute("INSERT INTO boots (boot, clock) VALUES (?,?)", key).lastrowid or 0)
    return int(found[0])


def put_row(db: sqlite3.Connection, lane: Lane, row: Row) -> None:
    """Insert a row; its number must be free."""
    db.execute(
        "INSERT INTO outbox VALUES (?,?,?,?,?,?,?,?)",
        (
            *(lane.place(row.seq), row.first, int(row.rank), row.boot),
            *(row.t_boot_ns, row.t_utc_us, row.sha, row.body),
        ),
    )


def new_row(
    lane: Lane, seq: int, first: int, rank: Rank, boot: int, stamp: Stamp, body: bytes
) -> Row:
    t_boot_ns, t_utc_us = stamp.t_boot_ns, stamp.t_utc_us
    sha = row_sha(lane.place(seq), first, t_boot_ns, t_utc_us, body)
    return Row(seq, first, rank, boot, t_boot_ns, t_utc_us, sha, body)


def is_sound(lane: Lane, row: Row) -> bool:
    """Whether the row is what was written."""
    place = lane.place(row.seq)
    return row.sha == row_sha(place, row.first, row.t_boot_ns, row.t_utc_us, row.body)


_ROW = (
    "SELECT place, IFNULL(CAST(first AS INTEGER), 0), IFNULL(CAST(rank AS INTEGER), 0), "
    "IFNULL(CAST(boot AS INTEGER), 0), IFNULL(CAST(t_boot_ns AS INTEGER), 0), "
    "IFNULL(CAST(t_utc_us AS INTEGER), 0), IFNULL(CAST(sha AS BLOB), x''), "
    "IFNULL(CAST(body AS BLOB), x'') FROM outbox "
)
"""The casts keep a flipped type from reaching Python as something that cannot be worked with."""


def rows_after(
    db: sqlite3.Connection, lane: Lane, after: int, limit: int, rank: Rank | None = None
) -> Iterator[Row]:
    """Rows above a sequence number in order, at most `limit` (-1: all), of one rank or all."""
    which = "" if rank is None else f"AND rank={int(rank)} "
    found = db.execute(
        _ROW + f"WHERE place>? AND place<? {which}ORDER BY place LIMIT ?",
        (lane.place(after), lane.place(1 << SEQ_BITS), limit),
    )
    for place, *rest in found:
        yield Row(place - lane.place(0), *rest)


def row_at(db: sqlite3.Connection, lane: Lane, seq: int) -> Iterator[Row]:
    """The row of one number, if there is one."""
    for _, *rest in db.execute(_ROW + "WHERE place=?", (lane.place(seq),)):
        yield Row(seq, *rest)


def remove_rows(db: sqlite3.Connection, lane: Lane, first: int, last: int) -> None:
    db.execute(
        "DELETE FROM outbox WHERE place BETWEEN ? AND ?", (lane.place(first), lane.place(last))
    )


def bytes_between(db: sqlite3.Connection, lane: Lane, first: int, last: int) -> int:
    """Bytes of the bodies held from `first` to `last`."""
    found = db.execute(
        "SELECT COALESCE(SUM(LENGTH(body)), 0) FROM outbox WHERE place BETWEEN ? AND ?",
        (lane.place(first), lane.place(last)),
    )
    return int(found.fetchone()[0])


def note_meta(db: sqlite3.Connection, name: str, text: str) -> None:
    """Write one entry of the file about itself."""
    db.execute("INSERT OR REPLACE INTO meta VALUES (?,?,?)", (name, text, _text_sha(name, text)))


def read_meta(db: sqlite3.Connection, name: str) -> str | None:
    """One entry of the file about itself; None where it is missing or not what was written."""
    found = db.execute("SELECT text, sha FROM meta WHERE name=?", (name,)).fetchone()
    if found is None or found[1] != _text_sha(name, found[0]):
        return None
    return str(found[0])


def _text_sha(name: str, text: object) -> bytes:
    return hashlib.sha256(f"{name}={text}".encode()).digest()[:16]
