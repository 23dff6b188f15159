"""Twins that break one promise each; the same campaigns must find them out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from edge.keep import Calibration, Lane, Stamp, ledger
from edge.keep.durable_file import DurableFile
from edge.records import Record, Stream


class StateApart(DurableFile):
    """Saves the states of the steps in a transaction of their own."""

    def commit(
        self,
        records: Sequence[Record],
        snapshots: Mapping[str, object],
        stamp: Stamp,
        calibrations: Sequence[Calibration] = (),
    ) -> dict[Stream, int]:
        last = super().commit(records, {}, stamp, calibrations)
        super().commit([], snapshots, stamp)
        return last


class DeletesOnRelease(DurableFile):
    """Keeps nothing that it was told to release, whoever told it."""

    def release(self, epoch: str, stream: Stream, upto: int) -> int:
        def work() -> int:
            lane = ledger.find_lane(self._db, epoch, stream)
            assert lane is not None
            ledger.remove_rows(self._db, lane, 1, upto)
            ledger.save_lane(self._db, replace(lane, released=max(lane.released, upto)))
            return upto - lane.released

        return self._write(work)

    def reopen(self, epoch: str, stream: Stream, first: int) -> Lane | None:
        return None
