"""Tombstones: Loss records in the place of records that are gone.

A tombstone sits at the last number that it stands for, so numbers and tombstones together leave no
hole and the gateway's high-water mark can pass. It is written in the transaction that removes.
"""

from __future__ import annotations

import sqlite3

from edge.keep.ledger import (
    Lane,
    Rank,
    Stamp,
    boot_number,
    is_sound,
    new_row,
    put_row,
    remove_rows,
    row_at,
    rows_after,
)
from edge.keep.schema import SEQ_BITS
from edge.records import Loss
from edge.wire import body_line, read_record


def bury(
    db: sqlite3.Connection, lane: Lane, loss: Loss, stamp: Stamp, *, unite_above: int | None = None
) -> None:
    """Put a tombstone in the place of `first` to `last`, whatever stood there.

    With `unite_above`, a neighbouring tombstone of the same reason above that number becomes part
    of it; below it one may have been sent and must stay as it is.
    """
    if unite_above is not None:
        loss = _united(db, lane, loss, unite_above)
    remove_rows(db, lane, loss.first, loss.last)
    boot = boot_number(db, stamp)
    body = body_line(loss)
    put_row(db, lane, new_row(lane, loss.last, loss.first, Rank.TOMBSTONE, boot, stamp, body))


def tombstone_before(db: sqlite3.Connection, lane: Lane, seq: int, reason: str) -> Loss | None:
    """The tombstone of this reason that ends just before a number; None where none does."""
    row = next(row_at(db, lane, seq - 1), None)
    if row is None or row.rank != Rank.TOMBSTONE or not is_sound(lane, row):
        return None
    loss = read_record(row.body)
    return loss if isinstance(loss, Loss) and loss.reason == reason else None


def _united(db: sqlite3.Connection, lane: Lane, loss: Loss, above: int) -> Loss:
    before = next(rows_after(db, lane, loss.first - 2, 1), None) if loss.first > 1 else None
    after = next(rows_after(db, lane, loss.last, 1), None)
    for row in (before, after):
        if row is None or row.rank != Rank.TOMBSTONE or row.seq <= above:
            continue
        if not is_sound(lane, row):
            continue
        other = read_record(row.body)
        assert isinstance(other, Loss)
        touches = other.last + 1 == loss.first or loss.last + 1 == other.first
        if touches and other.reason == loss.reason:
            loss = Loss(
                first=min(loss.first, other.first),
                last=max(loss.last, other.last),
                count=loss.count + other.count,
                from_us=min(loss.from_us, other.from_us),
                to_us=max(loss.to_us, other.to_us),
                reason=loss.reason,
            )
    return loss


def close_holes(
    db: sqlite3.Connection, lane: Lane, first: int, last: int, stamp: Stamp, reason: str
) -> int:
    """Give every number from `first` to `last` that no row holds or covers to a tombstone.

    Returns how many numbers were given up. When they were made is not known: 0 to now.
    """
    holes = _holes(db, lane, first, last)
    for low, high in holes:
        loss = Loss(
            first=low,
            last=high,
            count=high - low + 1,
            from_us=0,
            to_us=stamp.t_utc_us,
            reason=reason,
        )
        bury(db, lane, loss, stamp)
    return sum(high - low + 1 for low, high in holes)


def _holes(db: sqlite3.Connection, lane: Lane, first: int, last: int) -> list[tuple[int, int]]:
    expected = first
    found = db.execute(
        "SELECT place, first FROM outbox WHERE place>=? AND place<? ORDER BY place",
        (lane.place(first), lane.place(1 << SEQ_BITS)),
    )
    holes: list[tuple[int, int]] = []
    for place, covers_from in found:
        if expected > last:
            break
        if covers_from > expected:
            holes.append((expected, min(covers_from - 1, last)))
        expected = place - lane.place(0) + 1
    if expected <= last:
        holes.append((expected, last))
    return holes
