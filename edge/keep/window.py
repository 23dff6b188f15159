"""Which rows go into the next message, and what is done where one is missing or not sound."""

from __future__ import annotations

import sqlite3

from edge.keep.ledger import Lane, Row, Stamp, is_sound, remove_rows, rows_after
from edge.keep.schema import SEQ_BITS
from edge.keep.tombstones import close_holes
from edge.wire import MESSAGE_BYTES_MAX, RECORDS_PER_MESSAGE_MAX, Batch, Line

BODY_BYTES_MAX = MESSAGE_BYTES_MAX - 1024
"""A body must fit into a message with its envelope; a larger record is a bug."""

ENVELOPE_BYTES = 512
LINE_BYTES = 128
"""Room that the envelope and a line's head take in a message, on the safe side."""


def next_rows(
    db: sqlite3.Connection, lane: Lane, after: int, records_max: int, bytes_max: int
) -> list[Row]:
    """Sound rows that follow each other and one boot's clock, within the limits; at least one.

    Empty where there is nothing above `after`, or where the next row is missing or not sound.
    """
    rows: list[Row] = []
    used, expected = ENVELOPE_BYTES, after + 1
    for row in rows_after(db, lane, after, min(records_max, RECORDS_PER_MESSAGE_MAX)):
        if row.first > expected or not is_sound(lane, row):
            break
        used += len(row.body) + LINE_BYTES
        if rows and (used > bytes_max or row.boot != rows[0].boot):
            break
        rows.append(row)
        expected = row.seq + 1
    return rows


def mend(db: sqlite3.Connection, lane: Lane, after: int, stamp: Stamp) -> None:
    """Put a tombstone where the next row is missing or not sound, in the caller's transaction."""
    row = next(rows_after(db, lane, after, 1), None)
    if row is not None and row.seq > lane.last:  # a number that was never given out: a flipped bit
        remove_rows(db, lane, lane.last + 1, (1 << SEQ_BITS) - 1)
        row = None
    if row is not None and row.first <= after + 1:
        remove_rows(db, lane, row.seq, row.seq)
        close_holes(db, lane, after + 1, row.seq, stamp, "corrupt")
        return
    last = lane.last if row is None else row.first - 1
    close_holes(db, lane, after + 1, last, stamp, "no-longer-held")


def batch_of(db: sqlite3.Connection, unit: str, lane: Lane, rows: list[Row]) -> Batch:
    """The rows as a message's content, under the boot and clock that stamped them."""
    key = (rows[0].boot,)
    found = db.execute("SELECT boot, clock FROM boots WHERE number=?", key).fetchone()
    boot, clock = found or ("unknown", "unknown")
    lines = tuple(Line(row.seq, row.t_boot_ns, row.t_utc_us, row.body) for row in rows)
    return Batch(unit, lane.epoch, lane.stream, str(boot), str(clock), lines)
