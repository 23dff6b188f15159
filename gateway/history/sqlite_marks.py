"""Where a site's streams stand and what their lines were, as the writer and every reader ask it."""

from __future__ import annotations

from edge.records import Stream
from gateway.history.connection import Connection
from gateway.history.store import Mark, MarkConflict, MarkMove, StreamKey


def read_marks(connection: Connection) -> dict[StreamKey, Mark]:
    """Where each stream stands, in order of first sight."""
    return {
        StreamKey(unit, epoch, Stream(stream)): Mark(upto, stream_id, received_us)
        for stream_id, unit, epoch, stream, upto, received_us in connection.execute(
            "SELECT stream_id, unit, epoch, stream, upto, received_us FROM marks ORDER BY stream_id"
        )
    }


def read_digests(connection: Connection, key: StreamKey, first: int, last: int) -> dict[int, bytes]:
    """Digests of the stored lines `first` to `last`."""
    return dict(
        connection.execute(
            "SELECT seq, digest FROM lines WHERE stream_id = (SELECT stream_id FROM marks "
            "WHERE unit = ? AND epoch = ? AND stream = ?) AND seq BETWEEN ? AND ?",
            (key.unit, key.epoch, key.stream.value, first, last),
        )
    )


def read_given_up(
    connection: Connection, key: StreamKey, first: int, last: int
) -> list[tuple[int, int]]:
    """First and last number of each loss record that stands for any of `first` to `last`."""
    return connection.execute(
        "SELECT first, last FROM loss WHERE stream_id = (SELECT stream_id FROM marks "
        "WHERE unit = ? AND epoch = ? AND stream = ?) AND first <= ? AND last >= ?",
        (key.unit, key.epoch, key.stream.value, last, first),
    ).fetchall()


def move_mark(connection: Connection, key: StreamKey, move: MarkMove, at_us: int) -> int:
    """Moves one mark from where it must be; the stream's number. Raises MarkConflict."""
    name = (key.unit, key.epoch, key.stream.value)
    row = connection.execute(
        "SELECT stream_id, upto FROM marks WHERE unit = ? AND epoch = ? AND stream = ?", name
    ).fetchone()
    found = None if row is None else row[1]
    if found != move.before:
        raise conflict(key, found, move)
    if row is None:
        made = connection.execute(
            "INSERT INTO marks (unit, epoch, stream, upto, received_us) VALUES (?, ?, ?, ?, ?) "
            "RETURNING stream_id",
            (*name, move.upto, at_us),
        ).fetchall()
        return int(made[0][0])
    connection.execute(
        "UPDATE marks SET upto = ?, received_us = ? WHERE stream_id = ?", (move.upto, at_us, row[0])
    )
    return int(row[0])


def conflict(key: StreamKey, found: int | None, move: MarkMove) -> MarkConflict:
    """What is said of a mark that is not where the writer believed."""
    return MarkConflict(
        f"mark of {key.unit}/{key.epoch}/{key.stream.value} is {found}, not {move.before}; "
        "another writer was here"
    )
