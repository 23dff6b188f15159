"""Resolution given up before time: when the quota fills, old records are put together.

Minutes become ten minutes, ten minutes become hours, of the clock and never across it. Every sum of
interval rows is preserved exactly; what else becomes of a value stands in `combining` and
`combining_beside`. Ten-second rows go: the minute that holds them was never their sum's only home.

Numbers stay sound because only records that cannot have been sent are touched. A run of records
`lo` to `hi` becomes `k` records under the last `k` numbers of that range, and a tombstone with the
reason `thinned` covers the others. So no number is used twice, the gateway's mark passes, nothing
is counted twice, and the history says that here resolution, not time, was given up.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from edge.keep import ledger
from edge.keep.combining import combine
from edge.keep.combining_beside import combine_health, combine_weather
from edge.keep.ledger import Lane, Rank, Row, Stamp
from edge.quantities import Flag
from edge.records import HealthRow, IntervalRow, Loss, Record, Span, Stream, WeatherRow
from edge.wire import body_line, read_checked

THINNED = "thinned"
"""Reason of a tombstone whose records live on, put together, in the records that follow it."""

TEN_MINUTES_US = 600_000_000
HOUR_US = 3_600_000_000

ROWS_AT_A_TIME = 512
"""Put together at once: an hour of eight insulators, one commit of some tens of milliseconds."""

_CLOCK_DOUBTS = (Flag.CLOCK_UNSYNCHRONISED.value, Flag.CLOCK_STEP.value)
"""Records dated with and without doubt are not put together: a correction is of the former."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One sort of record that can be put together.

    alike: what must be the same within one; None of a record that is only given up. combine: of
    records in order.
    """

    rank: Rank
    stream: Stream
    alike: Callable[[Any], tuple[object, ...] | None]
    combine: Callable[[Any], Record]


def _interval_alike(row: IntervalRow) -> tuple[object, ...] | None:
    """A sum that some rows do not say could not be said any more, so they stay apart."""
    if row.span is Span.TEN_SECONDS:
        return None
    energies = (row.energy_uj is None, row.arcing_energy_uj is None)
    return (row.insulator, row.calibration, *energies, *_doubts(row.flags))


def _weather_alike(row: WeatherRow) -> tuple[object, ...]:
    return (row.rain_um is None, *_doubts(row.flags))


def _health_alike(row: HealthRow) -> tuple[object, ...]:
    """Versions, and what would not be known of its minute any more: dark, and line switched."""
    versions = (row.clock_source, row.software, row.firmware, row.settings_sha)
    return (*versions, row.source_alive, row.line_status, *_doubts(row.flags))


def _doubts(flags: Sequence[str]) -> tuple[bool, ...]:
    return tuple(doubt in flags for doubt in _CLOCK_DOUBTS)


KINDS: tuple[Kind, ...] = (
    Kind(Rank.HEALTH, Stream.HEALTH, _health_alike, combine_health),
    Kind(Rank.WEATHER, Stream.WEATHER, _weather_alike, combine_weather),
    Kind(Rank.INTERVAL, Stream.INTERVAL, _interval_alike, combine),
)
"""In the order in which they are thinned."""


@dataclass(frozen=True, slots=True)
class Held:
    """A row of the outbox with what its body says."""

    row: Row
    record: Any


def thin(db: sqlite3.Connection, kind: Kind, while_us: int, rows_max: int = ROWS_AT_A_TIME) -> bool:
    """Put the oldest run of one kind together, within the caller's transaction.

    while_us: of the clock, what becomes one record. rows_max: looked at together. False: there is
    nothing to put together.
    """
    lanes = [lane for lane in ledger.lanes(db) if lane.stream is kind.stream]
    return any(_thin_lane(db, lane, kind, while_us, rows_max) for lane in lanes)


def _thin_lane(
    db: sqlite3.Connection, lane: Lane, kind: Kind, while_us: int, rows_max: int
) -> bool:
    name = f"thinned/{lane.number}/{while_us}"
    known = int(ledger.read_meta(db, name) or 0)
    reached = max(known, lane.promised, lane.released)
    while run := _run_above(db, lane, kind, reached, while_us, rows_max):
        reached = run[-1].row.seq
        if _put_together(db, lane, kind, run, while_us):
            ledger.note_meta(db, name, str(reached))
            return True
    if reached > max(known, lane.promised, lane.released):
        ledger.note_meta(db, name, str(reached))
    return False


def _run_above(
    db: sqlite3.Connection, lane: Lane, kind: Kind, after: int, while_us: int, rows_max: int
) -> list[Held]:
    """The next records without another sort between them, up to a whole while; empty at the end.

    A while that may still go on, because the newest record is of it, waits.
    """
    run: list[Held] = []
    count = 0
    for row in ledger.rows_after(db, lane, after, rows_max):
        count += 1
        held = _held(lane, row, kind)
        if held is None or (run and row.first != run[-1].row.seq + 1):
            if any(not isinstance(one.record, Loss) for one in run):
                return run
            run = [] if held is None else [held]
        else:
            run.append(held)
    return _cut(run, while_us, more=count == rows_max)


def _cut(run: list[Held], while_us: int, *, more: bool) -> list[Held]:
    """Up to where a later run may begin. more: there may be more records of the last while.

    Before a tombstone, or at an hour where there is one: so what one tombstone covers is later put
    together, or given up, as a whole.
    """
    losses = [at for at, held in enumerate(run) if at and isinstance(held.record, Loss)]
    if more and losses:
        return run[: losses[-1]]
    kept = _without_last_while(run, HOUR_US) or _without_last_while(run, while_us)
    return run if more and not kept else kept


def _held(lane: Lane, row: Row, kind: Kind) -> Held | None:
    """A sound record of this kind, or a tombstone of an earlier thinning."""
    if row.rank not in (kind.rank, Rank.TOMBSTONE) or not ledger.is_sound(lane, row):
        return None
    record = read_checked(row.body)
    is_other = isinstance(record, Loss) and record.reason != THINNED
    return None if is_other else Held(row, record)


def _without_last_while(run: list[Held], while_us: int) -> list[Held]:
    last: int | None = None
    for at in range(len(run) - 1, -1, -1):
        if isinstance(run[at].record, Loss):
            continue
        of = run[at].record.start_us // while_us
        last = of if last is None else last
        if of != last:
            return run[: at + 1]
    return []


def _put_together(
    db: sqlite3.Connection, lane: Lane, kind: Kind, run: list[Held], while_us: int
) -> bool:
    """Replace a run; False, and nothing is done, where it would save nothing."""
    records = [held for held in run if not isinstance(held.record, Loss)]
    whiles = _whiles(records, kind, while_us)
    if len(whiles) == len(records):
        return False
    first, last = run[0].row.first, run[-1].row.seq
    cut = last - len(whiles)
    ledger.remove_rows(db, lane, first, last)
    _put(db, lane, run[-1].row, cut, first, Rank.TOMBSTONE, _loss(run, first, cut))
    for place, members in enumerate(whiles, cut + 1):
        _put(db, lane, members[-1].row, place, place, kind.rank, _one(kind, members))
    return True


def _one(kind: Kind, members: Sequence[Held]) -> Record:
    """A record alone stays what it is."""
    first: Record = members[0].record
    return first if len(members) == 1 else kind.combine([held.record for held in members])


def _whiles(records: Sequence[Held], kind: Kind, while_us: int) -> list[list[Held]]:
    """Records to be put together, each list in order, the lists in the order of their ends.

    Only within one boot of the machine: their counters and their clock are of one.
    """
    found: dict[tuple[object, ...], list[Held]] = {}
    for held in records:
        alike = kind.alike(held.record)
        if alike is not None:
            key = (*alike, held.row.boot, held.record.start_us // while_us)
            members = found.pop(key, [])
            found[key] = [*members, held]  # anew at the end: ordered by the last member
    return list(found.values())


def _loss(run: Sequence[Held], first: int, last: int) -> Loss:
    spans = [
        (held.record.from_us, held.record.to_us)
        if isinstance(held.record, Loss)
        else (held.row.t_utc_us, held.row.t_utc_us)
        for held in run
    ]
    return Loss(
        first=first,
        last=last,
        count=last - first + 1,
        from_us=min(start for start, _ in spans),
        to_us=max(end for _, end in spans),
        reason=THINNED,
    )


def _put(
    db: sqlite3.Connection, lane: Lane, like: Row, seq: int, first: int, rank: Rank, record: Record
) -> None:
    """A record under the stamp of the row that it stands for."""
    stamp = Stamp("", "", like.t_boot_ns, like.t_utc_us)
    row = ledger.new_row(lane, seq, first, rank, like.boot, stamp, body_line(record))
    ledger.put_row(db, lane, row)
