"""Rows that were dated without a clock stand where they belong once their unit knows the time.

What was sent never changes: such a row keeps its body, and only the time under which it is found is
moved by the unit's ClockCorrection, whichever of the two comes first. The newest correction of a
row's unit, start of the machine and sample counter counts; it is of rows that say themselves that
their clock was in doubt, and of no others.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import cast

from edge.quantities import Flag
from edge.records import ClockCorrection, IntervalRow, Stream
from edge.wire import read_checked
from gateway.history.columns import TABLE_OF, from_row, plain_body
from gateway.history.store import Entry

CORRECTED_US_MIN = 1_000_000
"""Smaller corrections are below what a row can tell, and change nothing."""

_KNOWN = f"""
SELECT c.shift_us FROM clock_correction c JOIN marks m ON m.stream_id = c.stream_id
WHERE m.unit = ? AND c.boot = ? AND c.from_counter <= ? AND c.to_counter > ?
AND abs(c.shift_us) >= {CORRECTED_US_MIN} ORDER BY c.stream_id DESC, c.seq DESC LIMIT 1
"""

_TABLE = TABLE_OF[IntervalRow]
_COLUMNS = ", ".join(f"r.{name}" for name in _TABLE.columns)
_COVERED = f"""
SELECT l.stream_id, l.seq, l.body, r.start_us, {_COLUMNS} FROM marks m
JOIN lines l ON l.stream_id = m.stream_id AND l.boot = ?
JOIN interval r ON r.insulator = l.insulator AND r.start_us = l.start_us AND r.span = l.span
AND r.stream_id = l.stream_id AND r.seq = l.seq
WHERE m.unit = ? AND m.stream = ? AND r.start_counter >= ? AND r.start_counter < ?
"""


@dataclass(frozen=True, slots=True)
class Moved:
    """A row that is to be found elsewhere. row: as sent; body: the same, canonical; was_us: where
    it is found now."""

    stream_id: int
    seq: int
    row: IntervalRow
    body: bytes
    was_us: int
    start_us: int


def is_doubtful(row: IntervalRow) -> bool:
    """Whether the row says that nobody kept its clock."""
    return Flag.CLOCK_UNSYNCHRONISED.value in row.flags


def dated(db: sqlite3.Connection, entry: Entry, boot: int) -> Entry:
    """The entry under the time at which its row belongs, by a correction that is already there.

    boot: the number of its word. The body stays as it was sent.
    """
    row = entry.record
    if not isinstance(row, IntervalRow) or not is_doubtful(row):
        return entry
    given = (entry.key.unit, boot, row.start_counter, row.start_counter)
    found = db.execute(_KNOWN, given).fetchone()
    if found is None or row.start_us + found[0] < 0:
        return entry
    return replace(entry, record=replace(row, start_us=row.start_us + found[0]))


def moved_by(
    db: sqlite3.Connection, unit: str, boot: int, correction: ClockCorrection
) -> Iterator[Moved]:
    """The rows that are already there and that a new correction is of. boot: as above."""
    if abs(correction.shift_us) < CORRECTED_US_MIN:
        return
    given = (boot, unit, Stream.INTERVAL.value, correction.from_counter, correction.to_counter)
    words: dict[int, str] = {}
    for stream_id, seq, body, was_us, *cells in db.execute(_COVERED, given).fetchall():
        words = words or dict(db.execute("SELECT id, word FROM words"))
        found = read_checked(body) if body else from_row(_TABLE, cells, words.__getitem__)
        row = cast(IntervalRow, found)
        start_us = row.start_us + correction.shift_us
        if is_doubtful(row) and start_us >= 0:
            yield Moved(stream_id, seq, row, body or plain_body(row), was_us, start_us)


def move(db: sqlite3.Connection, moved: Moved) -> None:
    """Find the row under its new time from now on, and keep its body as it was sent."""
    key = (moved.stream_id, moved.seq)
    db.execute(
        "UPDATE interval SET start_us = ? WHERE (insulator, start_us, span) = "
        "(SELECT insulator, start_us, span FROM lines WHERE stream_id = ? AND seq = ?) "
        "AND stream_id = ? AND seq = ?",
        (moved.start_us, *key, *key),
    )
    db.execute(
        "UPDATE lines SET body = ?, start_us = ? WHERE stream_id = ? AND seq = ?",
        (moved.body, moved.start_us, *key),
    )
