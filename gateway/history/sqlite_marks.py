"""Where a site's streams stand and what their lines were, as the writer and every reader ask it."""

from __future__ import annotations

import sqlite3

from edge.records import Stream
from gateway.history.store import Mark, StreamKey


def read_marks(connection: sqlite3.Connection) -> dict[StreamKey, Mark]:
    """Where each stream stands, in order of first sight."""
    return {
        StreamKey(unit, epoch, Stream(stream)): Mark(upto, stream_id, received_us)
        for stream_id, unit, epoch, stream, upto, received_us in connection.execute(
            "SELECT stream_id, unit, epoch, stream, upto, received_us FROM marks ORDER BY stream_id"
        )
    }


def read_digests(
    connection: sqlite3.Connection, key: StreamKey, first: int, last: int
) -> dict[int, bytes]:
    """Digests of the stored lines `first` to `last`."""
    return dict(
        connection.execute(
            "SELECT seq, digest FROM lines WHERE stream_id = (SELECT stream_id FROM marks "
            "WHERE unit = ? AND epoch = ? AND stream = ?) AND seq BETWEEN ? AND ?",
            (key.unit, key.epoch, key.stream.value, first, last),
        )
    )
