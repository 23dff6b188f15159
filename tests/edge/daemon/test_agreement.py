"""The daemon fed through the serial link, and the replay of the same recording, agree."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from edge.records import IntervalRow, Span
from edge.sense.link_player import play
from edge.sense.recordings import open_recordings
from edge.settings import parse_settings
from edge.wire import body_line, read_record
from gateway.replay.feeds import opened_feed
from gateway.replay.player import played
from gateway.replay.run import Request, plans_for, replay
from gateway.replay.tables import interval_line
from tests.edge.daemon.builders import (
    daemon_in,
    kept_bodies,
    played_out,
    settings_text,
    write_recording,
)
from tests.edge.sense.link_builders import Terminal

SIGNAL_S = 100.0


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which a daemon has kept what came over a serial port."""
    folder = tmp_path_factory.mktemp("live")
    recordings = open_recordings(write_recording(folder, SIGNAL_S))
    terminal = Terminal(folder / "port")
    line: list[bytes] = []
    play(recordings.items(1_000), recordings.description, line.append)
    terminal.send(b"".join(line))
    text = settings_text('kind = "link"\nport = "PORT"'.replace("PORT", str(terminal.link)))
    (folder / "edge.toml").write_text(text)
    played_out(daemon_in(folder, text, signal_s=SIGNAL_S))
    terminal.unplug()
    return folder


def test_the_same_recording_gives_the_same_bodies_live_and_in_replay(live: Path) -> None:
    settings = parse_settings((live / "edge.toml").read_text(), "edge.toml")
    with opened_feed([live / "night.cfg"]) as feed:
        plans, _ = plans_for(feed, settings)
        records = [one for outputs in played(plans, feed.items()) for one in outputs.records]
    for kind in ("interval", "condition", "capture", "capture-part"):
        expected = [body_line(one) for one in records if one.kind == kind]
        assert expected and kept_bodies(live, kind) == expected


def test_the_replay_command_writes_the_very_lines_that_the_daemon_kept(live: Path) -> None:
    settings = parse_settings((live / "edge.toml").read_text(), "edge.toml")
    replay(Request((live / "night.cfg",), settings), live / "replayed")
    events = (live / "replayed" / "events.jsonl").read_bytes().splitlines()
    for kind in ("condition", "capture"):
        written = [line for line in events if json.loads(line)["kind"] == kind]
        assert written and kept_bodies(live, kind) == written
    rows = [read_record(body) for body in kept_bodies(live, "interval")]
    minutes = [r for r in rows if isinstance(r, IntervalRow) and r.span is Span.MINUTE]
    written = (live / "replayed" / "intervals.csv").read_text().splitlines(keepends=True)[1:]
    assert [interval_line(row) for row in minutes] == written


def test_every_minute_of_the_signal_has_its_heartbeat(live: Path) -> None:
    beats = [json.loads(body) for body in kept_bodies(live, "health")]
    assert sum(beat["samples"] for beat in beats) == SIGNAL_S * 4_800
    assert sum(beat["duration_us"] for beat in beats) == SIGNAL_S * 1_000_000
    assert all(beat["source_alive"] and beat["link_counters"]["samples"] for beat in beats)
    assert all(beat["reasons"] == ["commissioning"] for beat in beats)
