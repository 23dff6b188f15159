"""A second, small file that remembers how far the durable file had come.

SQLite rolls a damaged or shortened file back to its last whole commit without a word, and an older
image of the file looks perfectly sound. The witness tells: it carries every lane's marks, written
after the commit that moved them, so it is never ahead of what was durable. It is only forced to
the disk before sequence numbers are promised to the network (the numbers that must never be used
again); else the kernel writes it when it likes.

Two slots in turn, each with a digest: a torn write leaves the older one.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import dataclass
from pathlib import Path

from edge.keep.ledger import Lane, lane_number
from edge.records import Stream
from edge.wire import canonical

SLOT_BYTES = 16 * 1024
"""Room for about 150 lanes; where there are more, the oldest are left out of the witness."""


@dataclass(frozen=True, slots=True)
class Testimony:
    """What the witness saw last. count: of writes; lanes: with their marks, oldest first."""

    count: int
    epoch: str
    lanes: tuple[Lane, ...]


class Witness:
    """The open witness file."""

    def __init__(self, path: Path) -> None:
        self._descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
        try:
            self._count = self._prepare()
        except BaseException:
            os.close(self._descriptor)
            raise

    def _prepare(self) -> int:
        """Give both slots their room, so that a disk that fills cannot stop them; the count."""
        size = os.fstat(self._descriptor).st_size
        if size < 2 * SLOT_BYTES:
            os.pwrite(self._descriptor, bytes(2 * SLOT_BYTES - size), size)
        seen = self.last_seen()
        return 0 if seen is None else seen.count

    def last_seen(self) -> Testimony | None:
        """The newest slot that is whole; None where there is none."""
        found = (_read_slot(os.pread(self._descriptor, SLOT_BYTES, at)) for at in (0, SLOT_BYTES))
        return max((one for one in found if one), key=lambda one: one.count, default=None)

    def write(self, epoch: str, lanes: tuple[Lane, ...], *, forced: bool) -> None:
        """Remember the marks; `forced` waits for the disk. Raises OSError."""
        self._count += 1
        slot = _slot(Testimony(self._count, epoch, lanes))
        os.pwrite(self._descriptor, slot, SLOT_BYTES * (self._count % 2))
        if forced:
            os.fdatasync(self._descriptor)

    def close(self) -> None:
        os.close(self._descriptor)


def _slot(seen: Testimony) -> bytes:
    kept = list(seen.lanes)
    while True:
        plain = [
            [lane.epoch, lane.stream.value, lane.last, lane.promised, lane.released]
            for lane in kept
        ]
        body = canonical({"count": seen.count, "epoch": seen.epoch, "lanes": plain})
        if len(body) + 66 <= SLOT_BYTES:
            break
        kept.pop(0)
    return hashlib.sha256(body).hexdigest().encode() + b" " + body + b"\n"


def _read_slot(slot: bytes) -> Testimony | None:
    sha, _, rest = slot.partition(b" ")
    body = rest.partition(b"\n")[0]
    if not body or hashlib.sha256(body).hexdigest().encode() != sha:
        return None
    plain = json.loads(body)
    lanes = (
        Lane(lane_number(epoch, Stream(stream)), epoch, Stream(stream), last, promised, released, 0)
        for epoch, stream, last, promised, released in plain["lanes"]
    )
    return Testimony(plain["count"], plain["epoch"], tuple(lanes))
