"""Opening the durable file: lock, check, repair, and the start of an epoch where one is due.

A new epoch starts wherever sequence numbers might be used twice: the file is new, was repaired, is
missing although the witness knows it, or has fallen behind the witness.
"""

from __future__ import annotations

import fcntl
import json
import os
import sqlite3
from collections.abc import Callable
from contextlib import ExitStack, closing
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from edge.keep import ledger
from edge.keep.faults import FileInUse, ForeignFile, StorageFault
from edge.keep.ledger import STREAMS, Lane, Rank, Stamp
from edge.keep.repair import finish_repair, repair, sync_folder
from edge.keep.room import Room
from edge.keep.schema import (
    DATABASE_FAULTS,
    FAULTS,
    PRAGMAS,
    SCHEMA_NUMBER,
    connect,
    create_tables,
    is_broken,
    is_created,
    is_full,
    pragma_number,
    primary_code,
    what_is_broken,
)
from edge.keep.tombstones import close_holes
from edge.keep.witness import Testimony, Witness
from edge.records import EpochStart, Stream, UnitEvent
from edge.wire import body_line


@dataclass(frozen=True, slots=True)
class Opened:
    """An open file. new_epoch: why an epoch was started, "" where the old one goes on."""

    db: sqlite3.Connection
    lock: int
    witness: Witness
    room: Room
    epoch: str
    new_epoch: str


def open_file(
    path: Path,
    unit: str,
    stamp: Stamp,
    quota_bytes: int,
    token: Callable[[], str],
    pragmas: tuple[str, ...] = PRAGMAS,
) -> Opened:
    """Open, create or repair. `token` gives 16 hexadecimal digits of chance for an epoch's name.

    Raises FileInUse, ForeignFile (installer), StorageFault (disk or folder).
    """
    room = Room(path, quota_bytes)
    lock = _hold(path)
    attempt = partial(_open_held, path, unit, stamp, token, pragmas, room, lock)
    try:
        try:
            return attempt()
        except (sqlite3.DatabaseError, OSError) as fault:
            if not _is_of_the_disk(fault):
                raise
            room.give_ballast()  # opening writes, too: once more on a disk with room
            return attempt()
    except (sqlite3.DatabaseError, OSError) as fault:
        os.close(lock)
        if not _is_of_the_disk(fault):
            raise
        raise StorageFault(f"{path}: {fault}; look at the disk and the folder's rights") from fault
    except BaseException:
        os.close(lock)
        raise


def _is_of_the_disk(fault: sqlite3.DatabaseError | OSError) -> bool:
    return isinstance(fault, OSError) or primary_code(fault) in FAULTS or is_full(fault)


def _open_held(
    path: Path,
    unit: str,
    stamp: Stamp,
    token: Callable[[], str],
    pragmas: tuple[str, ...],
    room: Room,
    lock: int,
) -> Opened:
    """Open what this process has locked."""
    with ExitStack() as undo:
        witness = undo.enter_context(closing(Witness(path.with_name(path.name + ".witness"))))
        seen = witness.last_seen()
        db = undo.enter_context(closing(_sound_connection(path, seen, stamp, pragmas)))
        room.limit(db)
        _check_owner(path, db, unit)
        epoch, reason = _epoch(db, unit, seen, stamp, token)
        sync_folder(path)
        witness.write(epoch, ledger.lanes(db), forced=True)
        room.lay_ballast()
        undo.pop_all()
        return Opened(db, lock, witness, room, epoch, reason)


def _hold(path: Path) -> int:
    """Lock the data folder's file for this process; the kernel lets go when it dies."""
    descriptor = os.open(path.with_name(path.name + ".lock"), os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as fault:
        os.close(descriptor)
        raise FileInUse(path) from fault
    return descriptor


def _sound_connection(
    path: Path, seen: Testimony | None, stamp: Stamp, pragmas: tuple[str, ...]
) -> sqlite3.Connection:
    """A connection to a file that passed its checks, repaired if need be."""
    finish_repair(path)
    db = _if_sound(path, pragmas)
    if db is None:
        repair(path, seen, stamp)
        db = connect(path, pragmas)
    return db


def _if_sound(path: Path, pragmas: tuple[str, ...]) -> sqlite3.Connection | None:
    try:
        db = connect(path, pragmas)
    except DATABASE_FAULTS as fault:
        if not is_broken(fault):
            raise
        return None
    try:
        if what_is_broken(db) is None and not _marks_are_broken(db):
            return db
    except BaseException:
        db.close()
        raise
    db.close()
    return None


def _marks_are_broken(db: sqlite3.Connection) -> bool:
    """Whether the lanes or the entries about the file are not what was written."""
    if not is_created(db):
        return False
    (count,) = db.execute("SELECT COUNT(*) FROM lanes").fetchone()
    names = [name for (name,) in db.execute("SELECT name FROM meta")]
    return count != len(list(ledger.sound_lanes(db))) or any(
        ledger.read_meta(db, name) is None for name in names
    )


def _check_owner(path: Path, db: sqlite3.Connection, unit: str) -> None:
    number = pragma_number(db, "user_version")
    if number > SCHEMA_NUMBER:
        raise ForeignFile(
            f"{path}: written by a newer release (schema {number}); "
            f"this one reads up to {SCHEMA_NUMBER}: install the newer release again"
        )
    owner = ledger.read_meta(db, "unit") if is_created(db) else None
    if owner not in (None, unit):
        raise ForeignFile(
            f"{path}: belongs to the unit {owner}, the settings say {unit}; "
            "correct the settings, or give this unit an empty data folder"
        )


def _epoch(
    db: sqlite3.Connection,
    unit: str,
    seen: Testimony | None,
    stamp: Stamp,
    token: Callable[[], str],
) -> tuple[str, str]:
    """The epoch to write in, started in one transaction where one is due, and why it was."""
    created = is_created(db)
    current = ledger.read_meta(db, "epoch") if created else None
    reason = _why_new(db, created, current, seen)
    if not reason:
        assert current is not None
        return current, ""
    db.execute("BEGIN IMMEDIATE")
    if not created:
        create_tables(db)
    lost = _declare_lost(db, seen, stamp, reason)
    epoch = _next_epoch(db, token)
    ledger.note_meta(db, "unit", unit)
    ledger.note_meta(db, "epoch", epoch)
    _chain(db, epoch, reason, stamp, lost)
    db.execute("COMMIT")
    return epoch, reason


def _why_new(
    db: sqlite3.Connection, created: bool, current: str | None, seen: Testimony | None
) -> str:
    if not created:
        return "created" if seen is None else "file-missing"
    if current is None:
        return "repaired"
    if seen is None:
        return ""
    for lane in seen.lanes:
        found = ledger.find_lane(db, lane.epoch, lane.stream)
        if found is None or found.last < lane.last or found.promised < lane.promised:
            return "found-behind"
    return ""


def _declare_lost(db: sqlite3.Connection, seen: Testimony | None, stamp: Stamp, reason: str) -> int:
    """Tombstones for what the witness knows and the file does not have."""
    lost = 0
    for lane in () if seen is None else seen.lanes:
        found = ledger.find_lane(db, lane.epoch, lane.stream) or replace(lane, last=0)
        known = ledger.save_lane(db, ledger.higher_marks(found, lane))
        lost += close_holes(db, known, known.released + 1, known.last, stamp, reason)
    return lost


def _next_epoch(db: sqlite3.Connection, token: Callable[[], str]) -> str:
    counter = max((ledger.epoch_counter(lane.epoch) for lane in ledger.lanes(db)), default=0)
    return f"{counter + 1:x}-{token()}"


def _chain(db: sqlite3.Connection, epoch: str, reason: str, stamp: Stamp, lost: int) -> None:
    """First record of every stream: which epoch came before, and how far it had come."""
    before: dict[Stream, Lane] = {lane.stream: lane for lane in ledger.lanes(db)}
    for stream in STREAMS:
        previous = before.get(stream)
        start = EpochStart(
            previous_epoch="" if previous is None else previous.epoch,
            previous_last=0 if previous is None else previous.last,
            reason=reason,
        )
        bodies = [body_line(start)]
        if stream is Stream.HEALTH:
            bodies.append(body_line(_event(db, reason, stamp, lost)))
        append_bodies(db, ledger.new_lane(epoch, stream), [(Rank.NOTICE, b) for b in bodies], stamp)


def _event(db: sqlite3.Connection, reason: str, stamp: Stamp, lost: int) -> UnitEvent:
    salvage = ledger.read_meta(db, "salvage") if reason == "repaired" else None
    saved: dict[str, int] = {} if salvage is None else json.loads(salvage)
    detail: dict[str, int | str] = {"reason": reason, "lost_records": lost + saved.pop("lost", 0)}
    detail |= {f"saved_{name}": count for name, count in saved.items()}
    return UnitEvent(event="durable-file", at_us=stamp.t_utc_us, detail=detail)


def append_bodies(
    db: sqlite3.Connection, lane: Lane, bodies: list[tuple[Rank, bytes]], stamp: Stamp
) -> Lane:
    """Put bodies behind the last number of a lane; returns the lane with its new mark."""
    boot = ledger.boot_number(db, stamp)
    for seq, (rank, body) in enumerate(bodies, lane.last + 1):
        ledger.put_row(db, lane, ledger.new_row(lane, seq, seq, rank, boot, stamp, body))
    return ledger.save_lane(db, replace(lane, last=lane.last + len(bodies)))
