"""The one durable file of the edge: outbox, states of the steps, calibrations.

Records and the states of the steps that made them are committed in one transaction, so that after
any cut the steps go on from exactly the records that exist. A record is released by the gateway's
receipt alone, and is kept after that until space is needed.

One thread owns the file: every call from another one is a bug and fails.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from edge.keep import eviction, ledger, states
from edge.keep.faults import StorageFault, StorageFull
from edge.keep.ledger import RANK_OF, Lane, Rank, Stamp
from edge.keep.opening import append_bodies, open_file
from edge.keep.owned import OwnedConnection
from edge.keep.room import SLACK_PAGES, pages_of
from edge.keep.schema import PRAGMAS
from edge.keep.states import Calibration
from edge.keep.window import BODY_BYTES_MAX, batch_of, mend, next_rows
from edge.records import STREAM_OF, Record, Stream
from edge.wire import Batch, body_line, canonical

Result = TypeVar("Result")

PROMISE_ROWS = 256
"""Numbers are promised to the network so many at a time, one forced write for all of them."""

RELEASE_ROWS = 256
"""Releases wait for the next commit until so many rows are released: a message repeated after a
cut does no harm, a write for every receipt wears the flash."""


def chance_token() -> str:
    """16 hexadecimal digits from the system's chance: no two files share an epoch."""
    return secrets.token_hex(8)


class DurableFile:
    """An open durable file.

    epoch: the one that new records are written in. new_epoch: why opening started it ("created",
    "file-missing", "repaired", "found-behind"), or "" where the last one goes on.
    """

    def __init__(
        self,
        path: Path,
        unit: str,
        stamp: Stamp,
        *,
        quota_bytes: int,
        token: Callable[[], str] = chance_token,
        pragmas: tuple[str, ...] = PRAGMAS,
    ) -> None:
        """Open, create or repair; raises FileInUse, ForeignFile, StorageFault."""
        opened = open_file(path, unit, stamp, quota_bytes, token, pragmas)
        self._path, self._unit = path, unit
        self._db, self._lock = opened.db, opened.lock
        self._witness, self._room = opened.witness, opened.room
        self._owned = OwnedConnection(path, self._db, self._room, self._let_go)
        self._handed_out: dict[int, int] = {}
        self._releases: dict[int, int] = {}
        self.epoch = opened.epoch
        self.new_epoch = opened.new_epoch

    def commit(
        self,
        records: Sequence[Record],
        snapshots: Mapping[str, object],
        stamp: Stamp,
        calibrations: Sequence[Calibration] = (),
    ) -> dict[Stream, int]:
        """All of it or nothing, durable on return; the highest number of each stream touched.

        snapshots: states of the steps by name, as JSON values. Where the quota is full, older rows
        (or, where only weightier ones are left, the new ones) give way to a tombstone. Raises
        StorageFull (nothing was written) and StorageFault (see there).
        """
        bodies = _by_stream(records)
        plain = {name: canonical(snapshot) for name, snapshot in snapshots.items()}
        size = sum(len(body) for rows in bodies.values() for _, body in rows)
        size += sum(map(len, plain.values()))

        def work() -> dict[Stream, int]:
            self._keep_within_share(stamp)
            fits = self._make_room(size, len(records), _ceiling(bodies), stamp)
            for name, body in plain.items():
                states.put_state(self._db, name, body)
            for calibration in calibrations:
                states.add_calibration(self._db, calibration)
            return {
                stream: self._take_in(stream, rows, stamp, fits=fits).last
                for stream, rows in bodies.items()
            }

        last = self._write(work)
        self._testify(forced=False)
        if self._room.disk_is_full:
            self._room.lay_ballast()
        return last

    def read_window(
        self,
        epoch: str,
        stream: Stream,
        after: int,
        records_max: int,
        bytes_max: int,
        stamp: Stamp,
    ) -> Batch | None:
        """The next message's content above `after`; None where there is nothing.

        Handing out is the first half of sending: the numbers are promised durably before. A row
        that is missing or not sound is replaced by a tombstone, which is what is then sent.
        """
        lane = self._owned.read(lambda: ledger.find_lane(self._db, epoch, stream))
        if lane is None or after >= lane.last:
            return None
        rows = self._owned.read(lambda: next_rows(self._db, lane, after, records_max, bytes_max))
        if not rows:
            self._write(lambda: mend(self._db, lane, after, stamp))
            rows = self._owned.read(
                lambda: next_rows(self._db, lane, after, records_max, bytes_max)
            )
        last = rows[-1].seq
        if last > lane.promised:
            self._promise(epoch, stream, last + PROMISE_ROWS)
        self._handed_out[lane.number] = max(self._handed_out.get(lane.number, 0), last)
        return self._owned.read(lambda: batch_of(self._db, self._unit, lane, rows))

    def release(self, epoch: str, stream: Stream, upto: int) -> int:
        """The gateway holds everything up to `upto`; returns how many numbers that released.

        A receipt of another epoch, or above what was handed out since opening, releases nothing.
        """
        lane = self._owned.read(lambda: ledger.find_lane(self._db, epoch, stream))
        if lane is None or upto > self._handed_out.get(lane.number, 0):
            return 0
        released = max(lane.released, self._releases.get(lane.number, 0))
        if upto <= released:
            return 0
        self._releases[lane.number] = upto
        if upto - lane.released >= RELEASE_ROWS:
            self._write(lambda: None)
        return upto - released

    def reopen(self, epoch: str, stream: Stream, first: int) -> Lane | None:
        """Take back the release from `first` on, for a gateway that asks for it again.

        None where the lane or the number is not known.
        """
        if (lane := self._owned.read(lambda: ledger.find_lane(self._db, epoch, stream))) is None:
            return None
        if not 1 <= first <= lane.last:
            return None

        def work() -> Lane:
            known = ledger.find_lane(self._db, epoch, stream)
            assert known is not None
            released = min(known.released, first - 1)
            kept = ledger.bytes_between(self._db, known, 1, released)
            return ledger.save_lane(self._db, replace(known, released=released, kept_bytes=kept))

        return self._write(work)

    def lanes(self) -> tuple[Lane, ...]:
        """All lanes, oldest epoch first, with every release so far."""
        return tuple(
            replace(lane, released=max(lane.released, self._releases.get(lane.number, 0)))
            for lane in self._lanes()
        )

    def backlog(self) -> int:
        """Numbers that the gateway has not receipted yet."""
        return sum(lane.last - lane.released for lane in self.lanes())

    def storage_free_ppm(self) -> int:
        """Share of the quota that is free."""
        return self._owned.read(lambda: self._room.free_ppm(self._db))

    def snapshot(self, name: str) -> object | None:
        """The state of a step as JSON values; None where there is none or it is not sound."""
        return self._owned.read(lambda: states.read_state(self._db, name))

    def calibrations(self) -> tuple[Calibration, ...]:
        """All calibrations in the order in which they were added."""
        return self._owned.read(lambda: states.calibrations(self._db))

    def trim_released(self, before_us: int) -> int:
        """Forget released rows committed before a time; call it with a trusted clock only."""
        return self._write(lambda: eviction.forget_older(self._db, before_us))

    def close(self) -> None:
        """Write what waits and let go of the file."""
        # On a full disk what waits is lost: releases alone, and a repeated message does no harm.
        with suppress(StorageFull):
            self._write(lambda: None)
        self._owned.close()

    def _lanes(self) -> tuple[Lane, ...]:
        return self._owned.read(lambda: ledger.lanes(self._db))

    def _make_room(self, size: int, rows: int, ceiling: Rank, stamp: Stamp) -> bool:
        """Whether the new records fit, after what may go for them has gone.

        On a full disk only routine rows go, page for page: the ballast takes the rest.
        """
        pages = pages_of(size, rows)
        if self._room.disk_is_full:
            pages, ceiling = pages - SLACK_PAGES + 1, min(ceiling, Rank.INTERVAL)
        fits = eviction.make_room(self._db, self._room, pages, stamp, ceiling)
        return fits or self._room.disk_is_full

    def _take_in(
        self, stream: Stream, rows: list[tuple[Rank, bytes]], stamp: Stamp, *, fits: bool
    ) -> Lane:
        """Alarms are always tried, even where they may not fit; SQLite has the last word."""
        lane = self._current(stream)
        if fits or stream is Stream.ALARM:
            return append_bodies(self._db, lane, rows, stamp)
        return eviction.give_up_new(self._db, lane, len(rows), stamp)

    def _current(self, stream: Stream) -> Lane:
        lane = ledger.find_lane(self._db, self.epoch, stream)
        assert lane is not None, f"no lane for {stream} in the epoch {self.epoch}"
        return lane

    def _promise(self, epoch: str, stream: Stream, upto: int) -> None:
        """Numbers up to `upto` may have been sent from now on: durable here and in the witness."""

        def work() -> None:
            lane = ledger.find_lane(self._db, epoch, stream)
            assert lane is not None
            ledger.save_lane(self._db, replace(lane, promised=upto))

        self._write(work)
        self._testify(forced=True)

    def _flush_releases(self) -> None:
        """Write waiting releases, within the caller's transaction."""
        for lane in ledger.lanes(self._db):
            upto = self._releases.get(lane.number, 0)
            if upto > lane.released:
                more = ledger.bytes_between(self._db, lane, lane.released + 1, upto)
                kept = lane.kept_bytes + more
                ledger.save_lane(self._db, replace(lane, released=upto, kept_bytes=kept))

    def _keep_within_share(self, stamp: Stamp) -> None:
        share = self._room.quota_bytes // eviction.KEPT_SHARE
        while eviction.kept_bytes(self._db) > share and eviction.forget_released(
            self._db, stamp, Rank.HEALTH
        ):
            pass

    def _write(self, work: Callable[[], Result]) -> Result:
        """One transaction: the waiting releases, and `work`."""

        def whole() -> Result:
            self._flush_releases()
            return work()

        result = self._owned.write(whole)
        self._releases.clear()
        return result

    def _testify(self, *, forced: bool) -> None:
        """Tell the witness how far the file has come; its failure is a fault of the storage."""
        try:
            self._witness.write(self.epoch, self._lanes(), forced=forced)
        except OSError as fault:
            self._owned.close()
            raise StorageFault(f"{self._path}: the witness: {fault}; open the file anew") from fault

    def _let_go(self) -> None:
        self._witness.close()
        os.close(self._lock)


def _ceiling(bodies: dict[Stream, list[tuple[Rank, bytes]]]) -> Rank:
    """The highest rank of new records; states alone may only displace routine rows."""
    return max((rank for rows in bodies.values() for rank, _ in rows), default=Rank.INTERVAL)


def _by_stream(records: Sequence[Record]) -> dict[Stream, list[tuple[Rank, bytes]]]:
    bodies: dict[Stream, list[tuple[Rank, bytes]]] = {}
    for record in records:
        body = body_line(record)
        assert len(body) <= BODY_BYTES_MAX, f"{type(record).__name__} of {len(body)} bytes"
        bodies.setdefault(STREAM_OF[type(record)], []).append((RANK_OF[type(record)], body))
    return bodies
