"""A broken durable file: what can still be read and proves sound goes into a new one.

The new file is made whole beside the broken one, then takes its place; a cut at any point leaves
either the broken file alone or a whole new one, and opening goes on from there. The broken file is
kept aside for people to look at, one at a time.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from edge.keep import ledger
from edge.keep.ledger import Lane, Row, Stamp
from edge.keep.schema import (
    DATABASE_FAULTS,
    SEQ_BITS,
    bare_connection,
    connect,
    create_tables,
    is_broken,
    is_created,
    primary_code,
    what_is_broken,
)
from edge.keep.states import BODY_TABLES, body_sha
from edge.keep.tombstones import close_holes
from edge.keep.witness import Testimony
from edge.wire import canonical

Found = TypeVar("Found")

LOOK_UPS_MAX = 200_000
"""Rows behind a broken page are tried one by one, at most so many; the rest counts as lost."""


@dataclass(frozen=True, slots=True)
class Salvage:
    """What a repair saved and lost, in records, states and calibrations."""

    rows: int
    lost: int
    states: int
    calibrations: int


def repair(path: Path, seen: Testimony | None, stamp: Stamp) -> Salvage:
    """Put a sound file in the place of a broken one. Raises sqlite3's errors of the disk."""
    fresh_path = _fresh_path(path)
    for name in _family(fresh_path):
        name.unlink(missing_ok=True)
    with closing(connect(fresh_path)) as fresh:
        fresh.execute("BEGIN IMMEDIATE")
        create_tables(fresh)
        saved = _salvage(path, fresh, seen, stamp)
        ledger.note_meta(fresh, "salvage", canonical(asdict(saved)).decode())
        fresh.execute("COMMIT")
        fresh.execute("PRAGMA journal_mode=DELETE").fetchall()  # one whole file, no WAL beside it
    finish_repair(path)
    return saved


def finish_repair(path: Path) -> None:
    """Let a repaired file that is whole take its place; remove one that is not."""
    fresh_path = _fresh_path(path)
    if not fresh_path.exists():
        return
    if not _is_whole(fresh_path):
        for name in _family(fresh_path):
            name.unlink(missing_ok=True)
        return
    aside = path.with_name(path.name + ".broken")
    for name, kept in zip(_family(path), _family(aside), strict=True):
        if name.exists():
            name.replace(kept)
    fresh_path.replace(path)
    sync_folder(path)


def sync_folder(path: Path) -> None:
    """Make names in the folder of `path` durable."""
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def _fresh_path(path: Path) -> Path:
    return path.with_name(path.name + ".repaired")


def _family(path: Path) -> tuple[Path, ...]:
    """WAL first: a file without its WAL is merely older, a WAL beside another file is poison."""
    return tuple(path.with_name(path.name + suffix) for suffix in ("-wal", "-shm", "-journal", ""))


def _is_whole(path: Path) -> bool:
    try:
        with closing(bare_connection(path)) as db:
            return what_is_broken(db) is None and is_created(db)
    except DATABASE_FAULTS:
        return False


def _salvage(
    path: Path, fresh: sqlite3.Connection, seen: Testimony | None, stamp: Stamp
) -> Salvage:
    with closing(bare_connection(path)) as broken:
        lanes = _known_lanes(broken, seen)
        boots = _boots(broken)
        rows = _copy_rows(broken, fresh, lanes, boots, stamp)
        states = _copy_bodies(broken, fresh, "state")
        calibrations = _copy_bodies(broken, fresh, "calibration")
    lost = 0
    for lane in _with_marks(fresh, lanes.values()):
        ledger.save_lane(fresh, lane)
        lost += close_holes(fresh, lane, lane.released + 1, lane.last, stamp, "corrupt")
    return Salvage(rows, lost, states, calibrations)


def _known_lanes(broken: sqlite3.Connection, seen: Testimony | None) -> dict[int, Lane]:
    """Lanes by number from the broken file and from the witness, the higher mark of both."""
    known: dict[int, Lane] = {}
    for lane in (*_tried(lambda: ledger.sound_lanes(broken)), *(seen.lanes if seen else ())):
        known[lane.number] = ledger.higher_marks(known.get(lane.number, lane), lane)
    return known


def _boots(broken: sqlite3.Connection) -> dict[int, tuple[str, str]]:
    found = _tried(lambda: broken.execute("SELECT number, boot, clock FROM boots"))
    return {number: (boot, clock) for number, boot, clock in found}


def _copy_rows(
    broken: sqlite3.Connection,
    fresh: sqlite3.Connection,
    lanes: dict[int, Lane],
    boots: dict[int, tuple[str, str]],
    stamp: Stamp,
) -> int:
    copied: set[int] = set()
    for lane in lanes.values():
        for row in _readable_rows(broken, lane):
            place = lane.place(row.seq)
            if not ledger.is_sound(lane, row) or place in copied:  # a broken tree may repeat
                continue
            boot, clock = boots.get(row.boot, ("unknown", "unknown"))
            number = ledger.boot_number(fresh, replace(stamp, boot=boot, clock=clock))
            ledger.put_row(fresh, lane, replace(row, boot=number))
            copied.add(place)
    return len(copied)


def _readable_rows(broken: sqlite3.Connection, lane: Lane) -> Iterator[Row]:
    """Rows of a lane: upwards to the first broken page, then one by one beyond it."""
    reached = 0
    for row in _tried(lambda: ledger.rows_after(broken, lane, 0, -1)):
        reached = row.seq
        yield row
    for seq in range(reached + 1, min(lane.last, reached + LOOK_UPS_MAX) + 1):
        yield from _tried(partial(ledger.row_at, broken, lane, seq))


def _tried(read: Callable[[], Iterable[Found]]) -> Iterator[Found]:
    """What can be read before SQLite finds something broken, be it the tables' very names."""
    try:
        yield from read()
    except DATABASE_FAULTS as fault:
        if not is_broken(fault) and primary_code(fault) != sqlite3.SQLITE_ERROR:
            raise


def _copy_bodies(broken: sqlite3.Connection, fresh: sqlite3.Connection, table: str) -> int:
    """Copy states or calibrations that prove sound; returns how many."""
    copied = 0
    for found in _tried(lambda: broken.execute(BODY_TABLES[table])):
        *key, sha, body = found
        if sha == body_sha(key, body):
            marks = ",".join("?" * len(found))
            fresh.execute(f"INSERT OR IGNORE INTO {table} VALUES ({marks})", found)
            copied += 1
    return copied


def _with_marks(fresh: sqlite3.Connection, lanes: Iterable[Lane]) -> Iterator[Lane]:
    """Lanes with marks that fit the rows that were saved."""
    for lane in lanes:
        top = fresh.execute(
            "SELECT MAX(place) FROM outbox WHERE place>? AND place<?",
            (lane.place(0), lane.place(1 << SEQ_BITS)),
        ).fetchone()[0]
        last = max(lane.last, (top or lane.place(0)) - lane.place(0))
        kept = ledger.bytes_between(fresh, lane, 1, lane.released)
        yield replace(lane, last=last, promised=max(lane.promised, last), kept_bytes=kept)
