"""What a full quota put together at the edge reaches the history sum for sum, in sound numbers."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path

import pytest

from edge.keep.durable_file import DurableFile
from edge.keep.room import QUOTA_BYTES_MIN
from edge.keep.thinning import THINNED
from edge.records import IntervalRow, Span, Stream
from edge.wire import batch_message
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import SUMMED, Commit
from gateway.ingest.intake import Arrival, Intake
from tests.edge.keep.builders import UNIT, alarm, minute_row, open_file, read, stamp

SITE = UNIT.split(".")[0]
EVER = (0, 2**62)
INSULATORS = ("P7-A", "P7-B", "P7-C")


def minutes(first: int, count: int) -> list[IntervalRow]:
    """Wet minutes, and a ten-second row now and then, which is never summed."""
    rows = []
    for n in range(first, first + count):
        arcs = {"arcing_halfcycles": n % 5, "arcing_charge_nc": (n, 2 * n)}
        rows += [minute_row(n, insulator=one, **arcs) for one in INSULATORS]
        if n % 10 == 3:
            rows.append(minute_row(n, span=Span.TEN_SECONDS, duration_us=10_000_000))
    return rows


def drained(file: DurableFile, intake: Intake) -> int:
    """Everything from the outbox into the history, message by message; how many messages."""
    sent = 0
    for lane in file.lanes():
        after = 0
        while (batch := read(file, lane.epoch, lane.stream, after)) is not None:
            topic = f"seafret/1/{UNIT}/up/{lane.stream.value}"
            arrival = Arrival(topic, batch_message(batch), False, 1)
            (standing,) = intake.commit([arrival, arrival], 1)
            assert standing.gap is None
            after = standing.upto
            sent += 1
        assert after == lane.last
    return sent


def nobody_listens(site: str, commit: Commit) -> None:
    assert not commit.refused and not commit.events, commit.events


def sums(rows: Sequence[IntervalRow]) -> dict[str, int]:
    return {
        "arcing_halfcycles": sum(row.arcing_halfcycles for row in rows),
        "duration_us": sum(row.duration_us for row in rows),
        "arcing_charge_negative_nc": sum(row.arcing_charge_nc[1] for row in rows),
        "charge_positive_nc": sum(row.charge_nc[0] for row in rows),
        "i2t_negative_pa2s": sum(row.i2t_pa2s[1] for row in rows),
    }


@pytest.mark.parametrize("count", [200, 2000])
def test_the_history_has_every_sum_of_what_was_put_together(tmp_path: Path, count: int) -> None:
    there = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=there if there.is_dir() else None) as name:
        file = open_file(Path(name) / "durable.db", quota_bytes=QUOTA_BYTES_MIN)
        made: list[IntervalRow] = []
        for n in range(0, count, 20):
            rows = minutes(n, 20)
            file.commit([*rows, alarm(n)], {}, stamp(n))
            made += [row for row in rows if row.span is Span.MINUTE]
        intake = Intake(SqliteHistory(tmp_path), [SITE], nobody_listens)
        assert drained(file, intake) > 3
        intake.close()
        file.close()
    reader = SqliteHistory(tmp_path).reader(SITE)
    for insulator in INSULATORS:
        found = reader.exposure(insulator, *EVER)
        expected = sums([row for row in made if row.insulator == insulator])
        assert {name: found[name] for name in expected} == expected
        assert set(expected) <= set(SUMMED)
    losses = [one for one in reader.losses() if one.key.stream is Stream.INTERVAL]
    assert {one.record.reason for one in losses} == ({THINNED} if count > 200 else set())
    assert not [one for one in reader.losses() if one.key.stream is Stream.ALARM]
    reader.close()
