"""Rows that were dated without a clock stand where they belong once their unit knows the time.

What was sent never changes: such a row keeps its body, and only the time under which it is found is
moved by the unit's ClockCorrection, whichever of the two comes first. The newest correction of a
row's unit, start of the machine and sample counter counts; it is of rows that say themselves that
their clock was in doubt, and of no others.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import cast

from edge.quantities import Flag
from edge.records import ClockCorrection, IntervalRow, Stream
from edge.wire import read_checked
from gateway.history.columns import TABLE_OF, Intern, from_row, plain_body
from gateway.history.connection import Connection
from gateway.history.store import Entry

CORRECTED_US_MIN = 1_000_000
"""Smaller corrections are below what a row can tell, and change nothing."""

_KNOWN = f"""
SELECT c.from_counter, c.to_counter, c.shift_us FROM clock_correction c
JOIN marks m ON m.stream_id = c.stream_id WHERE m.unit = ? AND c.boot = ?
AND abs(c.shift_us) >= {CORRECTED_US_MIN} ORDER BY c.stream_id DESC, c.seq DESC
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


Shift = tuple[int, int, int]
"""First counter, counter after the last, correction in microseconds."""


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


def all_dated(db: Connection, entries: Sequence[Entry], intern: Intern) -> Iterator[Entry]:
    """Each entry under the time at which its row belongs, by the corrections already there.

    One question for each start of a unit's machine. The bodies stay as they were sent.
    """
    known: dict[tuple[str, int], list[Shift]] = {}
    for entry in entries:
        row = entry.record
        if not isinstance(row, IntervalRow) or not is_doubtful(row):
            yield entry
            continue
        at = entry.key.unit, intern(entry.boot)
        if at not in known:
            known[at] = db.execute(_KNOWN, at).fetchall()
        start_us = _start_us(row, known[at])
        moved = start_us != row.start_us
        yield replace(entry, record=replace(row, start_us=start_us)) if moved else entry


def _start_us(row: IntervalRow, known: Sequence[Shift]) -> int:
    """known: the corrections of its unit and start, the newest first."""
    for from_counter, to_counter, shift_us in known:
        if from_counter <= row.start_counter < to_counter:
            return row.start_us + shift_us if row.start_us + shift_us >= 0 else row.start_us
    return row.start_us


def moved_by(db: Connection, unit: str, boot: int, correction: ClockCorrection) -> Iterator[Moved]:
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


def move(db: Connection, moved: Moved) -> None:
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
