"""A unit that starts without the time and gains it: in the history its rows stand right."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from edge.daemon.running import FILE_NAME
from edge.keep import DurableFile
from edge.records import IntervalRow
from edge.samples import AnchorSource, SampleBlock, SourceItem, TimeAnchor
from edge.sense.frame_codec import frame_body
from edge.sense.framing import wire_frame
from edge.sense.link_player import player_of, step
from edge.sense.recordings import Recordings, open_recordings
from edge.wire import batch_message
from gateway.history.sqlite_store import SqliteHistory
from gateway.ingest.intake import Arrival, Intake
from tests.edge.daemon.builders import RATE_HZ, START_UTC_NS, kept_bodies, write_recording
from tests.edge.daemon.launching import ended, launched
from tests.edge.daemon.test_unplugged import settings_in
from tests.edge.keep.builders import read, stamp
from tests.edge.sense.link_builders import Terminal

GAINED_S, SIGNAL_S = 70, 100
UNKEPT_NS = 3_600_000_000_000
"""What the sensor unit's clock showed at its start: an hour after 1970 began."""

UNIT, SITE = "gannet-stack.pole-1", "gannet-stack"


def items(recordings: Recordings) -> Iterator[SourceItem]:
    """The recording, dated by a clock that nobody keeps until it hears the time."""
    yield TimeAnchor(0, UNKEPT_NS, 1_000, AnchorSource.GNSS, synchronised=False)
    for item in recordings.items(RATE_HZ):
        if isinstance(item, SampleBlock):
            if item.counter == GAINED_S * RATE_HZ:
                true_ns = START_UTC_NS + GAINED_S * 1_000_000_000
                yield TimeAnchor(item.counter, true_ns, 1_000, AnchorSource.GNSS)
            yield item


def sent(recordings: Recordings) -> bytes:
    """The same on the line."""
    player = player_of(recordings.description, boot=5)
    line = wire_frame(frame_body(player.hello, 0, player.boot))
    for item in items(recordings):
        player, more = step(player, item)
        line += more
    return line


def delivered(folder: Path) -> SqliteHistory:
    """All that the durable file holds, in a history."""
    history = SqliteHistory(folder / "history")
    intake = Intake(history, [SITE], lambda site, commit: None)
    path = folder / "data" / FILE_NAME
    file = DurableFile(path, UNIT, stamp(), quota_bytes=16_000_000)
    for lane in file.lanes():
        after = 0
        while (batch := read(file, lane.epoch, lane.stream, after)) is not None:
            topic = f"seafret/1/{UNIT}/up/{lane.stream.value}"
            (standing,) = intake.commit([Arrival(topic, batch_message(batch), False, 1)], 1)
            after = standing.upto
    file.close()
    intake.close()
    return history


def test_rows_made_before_the_time_was_known_stand_right_in_the_history(tmp_path: Path) -> None:
    recordings = open_recordings(write_recording(tmp_path, SIGNAL_S))
    terminal = Terminal(tmp_path / "port")
    with launched(settings_in(tmp_path), "--signal-seconds", str(SIGNAL_S)) as daemon:
        terminal.send(sent(recordings))
        assert ended(daemon)[0] == 0
    terminal.unplug()

    shift_us = (START_UTC_NS - UNKEPT_NS) // 1000
    (correction,) = map(json.loads, kept_bodies(tmp_path, "clock-correction"))
    assert correction["shift_us"] == shift_us
    assert (correction["from_counter"], correction["to_counter"]) == (0, GAINED_S * RATE_HZ)
    events = [json.loads(body) for body in kept_bodies(tmp_path, "unit-event")]
    clock = [one["detail"]["synchronised"] for one in events if one["event"] == "clock"]
    steps = [one["detail"]["shift_us"] for one in events if one["event"] == "clock-step"]
    assert clock == [0, 1] and steps == [shift_us]

    beats = [json.loads(body) for body in kept_bodies(tmp_path, "health")]
    speaks = player_of(recordings.description, boot=5).hello.firmware
    assert {beat["firmware"] for beat in beats} == {speaks}

    rows = [json.loads(body) for body in kept_bodies(tmp_path, "interval")]
    early = [row for row in rows if row["start_us"] < 2 * UNKEPT_NS // 1000]
    assert early and all("clock-unsynchronised" in row["flags"] for row in early)
    reader = delivered(tmp_path).reader(SITE)
    for insulator in ("old-post", "new-rubber"):
        found = reader.intervals(insulator, 0, 2**62)
        assert found[0].start_us == START_UTC_NS // 1000
        assert abs(sum(row.duration_us for row in found) - SIGNAL_S * 1_000_000) < 1_000_000
        assert _in_order(found)
    reader.close()
    with sqlite3.connect(tmp_path / "history" / f"{SITE}.sqlite3") as db:
        (held,) = db.execute("SELECT count(*) FROM lines WHERE body IS NOT NULL").fetchone()
    db.close()
    assert held >= len(early), "as they were sent"


def _in_order(rows: list[IntervalRow]) -> bool:
    ends = [row.start_us + row.duration_us for row in rows]
    return all(row.start_us >= end - 10_000 for row, end in zip(rows[1:], ends, strict=False))
