"""What is given up when the quota is full, in which order.

1. Released rows that were only kept for a gateway restored from a backup, oldest first.
2. Resolution before time: health, weather and interval rows of ten minutes put together
   (`thinning`), oldest first, every sum preserved; then the waveforms of captures; then hours.
3. Whole rows by rank, oldest first: health, captures, weather, interval rows, notices, and alarms
   last of all. Every run that goes leaves a tombstone in the same transaction. Nothing goes for the
   sake of records of a lower rank: then the new ones are given up instead, behind a tombstone too.

Rows that may already have been sent (up to the promised mark) go after those that cannot have been,
so that a tombstone speaks of what the gateway does not have.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

from edge.keep import thinning
from edge.keep.ledger import Lane, Rank, Row, Stamp, lanes, remove_rows, rows_after, save_lane
from edge.keep.room import Room
from edge.keep.tombstones import bury, tombstone_before
from edge.records import Loss, Stream

ROWS_AT_A_TIME = 64
"""Given up at once: enough to free pages, few enough that one commit stays short."""

KEPT_SHARE = 5
"""Released rows may take one part in this of the quota (20 %); older ones go."""

RETENTION_US = 7 * 86_400_000_000
"""Released rows older than this need not be kept; `trim_released` uses it with a trusted clock."""

QUOTA_REASON = "storage-quota"

_ROUTINE = (Rank.HEALTH, Rank.CAPTURE, Rank.WEATHER, Rank.INTERVAL)
_ORDER: tuple[tuple[Rank, bool], ...] = (
    *((rank, True) for rank in _ROUTINE),
    *((rank, False) for rank in _ROUTINE),
    (Rank.NOTICE, True),
    (Rank.NOTICE, False),
    (Rank.ALARM, True),
    (Rank.ALARM, False),
)
"""(rank, whether only rows that cannot have been sent), in the order of going."""

_HOME = {
    Rank.HEALTH: Stream.HEALTH,
    Rank.CAPTURE: Stream.CAPTURE,
    Rank.WEATHER: Stream.WEATHER,
    Rank.INTERVAL: Stream.INTERVAL,
    Rank.NOTICE: Stream.HEALTH,
    Rank.ALARM: Stream.ALARM,
}
"""Where rows of a rank are; the first record of an epoch in the other streams always stays."""

Measure = Callable[[sqlite3.Connection, Stamp, Rank], bool]
"""Frees something inside the caller's transaction, nothing above a rank; False: found nothing."""


def make_room(db: sqlite3.Connection, room: Room, pages: int, stamp: Stamp, ceiling: Rank) -> bool:
    """Give up rows of ranks up to the ceiling until `pages` are free; False: none is left."""
    measures = MEASURES_ON_A_FULL_DISK if room.disk_is_full else MEASURES
    while room.free_pages(db) < pages:
        if not any(measure(db, stamp, ceiling) for measure in measures):
            return False
    return True


def give_up_new(db: sqlite3.Connection, lane: Lane, count: int, stamp: Stamp) -> Lane:
    """A tombstone in the place of `count` new records that found no room; the lane after it."""
    last = lane.last + count
    loss = Loss(
        first=lane.last + 1,
        last=last,
        count=count,
        from_us=stamp.t_utc_us,
        to_us=stamp.t_utc_us,
        reason=QUOTA_REASON,
    )
    bury(db, lane, loss, stamp, unite_above=max(lane.promised, lane.released))
    return save_lane(db, replace(lane, last=last))


def kept_bytes(db: sqlite3.Connection) -> int:
    """Bytes of released bodies still held."""
    return int(db.execute("SELECT COALESCE(SUM(kept_bytes), 0) FROM lanes").fetchone()[0])


def forget_released(db: sqlite3.Connection, stamp: Stamp, ceiling: Rank) -> bool:
    """Remove the oldest released rows of one lane, those of alarms last."""
    for lane in sorted(lanes(db), key=lambda lane: lane.stream is Stream.ALARM):
        rows = [row for row in rows_after(db, lane, 0, ROWS_AT_A_TIME) if row.seq <= lane.released]
        if rows:
            _forget(db, lane, rows)
            return True
    return False


def forget_older(db: sqlite3.Connection, before_us: int) -> int:
    """Remove released rows committed before a time; returns how many."""
    gone = 0
    for lane in lanes(db):
        found = rows_after(db, lane, 0, ROWS_AT_A_TIME)
        rows = [row for row in found if row.seq <= lane.released and row.t_utc_us < before_us]
        if rows:
            _forget(db, lane, rows)
            gone += len(rows)
    return gone


def _forget(db: sqlite3.Connection, lane: Lane, rows: list[Row]) -> None:
    for row in rows:
        remove_rows(db, lane, row.seq, row.seq)
    freed = sum(len(row.body) for row in rows)
    save_lane(db, replace(lane, kept_bytes=max(0, lane.kept_bytes - freed)))


def thin(db: sqlite3.Connection, stamp: Stamp, ceiling: Rank, while_us: int, rows_max: int) -> bool:
    """Put old rows of so long a while together, the least of the ranks first."""
    kinds = (kind for kind in thinning.KINDS if kind.rank <= ceiling)
    return any(thinning.thin(db, kind, while_us, rows_max) for kind in kinds)


def give_up_captures(db: sqlite3.Connection, stamp: Stamp, ceiling: Rank) -> bool:
    """Give up the oldest waveforms that cannot have been sent."""
    return ceiling >= Rank.CAPTURE and _give_up(db, stamp, Rank.CAPTURE, unsent_only=True)


def give_up_rows(db: sqlite3.Connection, stamp: Stamp, ceiling: Rank) -> bool:
    """Give up the next rows in the order above, each run behind a tombstone."""
    order = (each for each in _ORDER if each[0] <= ceiling)
    return any(_give_up(db, stamp, rank, unsent_only=unsent) for rank, unsent in order)


def _give_up(db: sqlite3.Connection, stamp: Stamp, rank: Rank, *, unsent_only: bool) -> bool:
    for lane in (lane for lane in lanes(db) if lane.stream is _HOME[rank]):
        unsent = max(lane.promised, lane.released)
        floor = unsent if unsent_only else lane.released
        rows = list(rows_after(db, lane, floor, ROWS_AT_A_TIME, rank))
        if rows and unsent_only:
            rows += _rest_of_thinned(db, lane, rows, rank)
        for run in _runs(rows):
            loss = _with_thinned(db, lane, _loss(run), unsent)
            bury(db, lane, loss, stamp, unite_above=unsent)
        if rows:
            return True
    return False


def _rest_of_thinned(db: sqlite3.Connection, lane: Lane, rows: list[Row], rank: Rank) -> list[Row]:
    """What one thinning put together goes as a whole, so that its tombstone tells the truth."""
    *_, run = _runs(rows)
    if tombstone_before(db, lane, run[0].first, thinning.THINNED) is None:
        return []
    found = list(rows_after(db, lane, run[-1].seq, thinning.ROWS_AT_A_TIME, rank))
    return next(_runs(found)) if found and found[0].first == run[-1].seq + 1 else []


def _with_thinned(db: sqlite3.Connection, lane: Lane, loss: Loss, unsent: int) -> Loss:
    """With the tombstone of what was put together into these rows: now it is gone as well."""
    thinned = tombstone_before(db, lane, loss.first, thinning.THINNED)
    if thinned is None or thinned.last <= unsent:
        return loss
    return replace(
        loss,
        first=thinned.first,
        count=thinned.count + loss.count,
        from_us=min(thinned.from_us, loss.from_us),
        to_us=max(thinned.to_us, loss.to_us),
    )


def _runs(rows: list[Row]) -> Iterator[list[Row]]:
    """Rows with consecutive numbers together."""
    run: list[Row] = []
    for row in rows:
        if run and row.first != run[-1].seq + 1:
            yield run
            run = []
        run.append(row)
    if run:
        yield run


def _loss(run: list[Row]) -> Loss:
    return Loss(
        first=run[0].first,
        last=run[-1].seq,
        count=len(run),
        from_us=min(row.t_utc_us for row in run),
        to_us=max(row.t_utc_us for row in run),
        reason=QUOTA_REASON,
    )


def _measures(rows_max: int) -> tuple[Measure, ...]:
    return (
        forget_released,
        partial(thin, while_us=thinning.TEN_MINUTES_US, rows_max=rows_max),
        give_up_captures,
        partial(thin, while_us=thinning.HOUR_US, rows_max=rows_max),
        give_up_rows,
    )


MEASURES = _measures(thinning.ROWS_AT_A_TIME)
"""Tried in turn, from the first one each time."""

MEASURES_ON_A_FULL_DISK = _measures(ROWS_AT_A_TIME)
"""In smaller steps: what a step writes must fit into the room that the ballast gave back."""
