"""A port that vanishes while the daemon runs, and comes back."""

from __future__ import annotations

import json
import signal
from collections.abc import Iterable
from pathlib import Path

from edge.samples import SampleBlock, SourceItem
from edge.sense import link_player
from edge.sense.frame_codec import frame_body
from edge.sense.framing import wire_frame
from edge.sense.recordings import Recordings, open_recordings
from tests.edge.daemon.builders import RATE_HZ, kept_bodies, settings_text, write_recording
from tests.edge.daemon.launching import await_line, ended, launched
from tests.edge.sense.link_builders import Terminal

CUT_S, LOST_S, SIGNAL_S = 25, 8, 65
ON_THE_LINE_US = 2_000_000
"""What is on its way when the lead is pulled is lost with it: the frame that was cut, and what a
busy host has not read yet; a loaded machine was seen to leave a little over a second unread."""


def line_of(recordings: Recordings, first_s: int, last_s: int) -> bytes:
    """What a sensor unit sends from one second to another of one start of it."""
    player = link_player.player_of(recordings.description, boot=5)
    sent: list[bytes] = []
    for item in between(recordings.items(RATE_HZ), first_s, last_s):
        player, more = link_player.step(player, item)
        sent.append(more)
    hello = wire_frame(frame_body(player.hello, 0, player.boot))
    return hello + b"".join(sent)


def between(items: Iterable[SourceItem], first_s: int, last_s: int) -> Iterable[SourceItem]:
    for item in items:
        if not isinstance(item, SampleBlock):
            if item.counter == 0:
                yield item
        elif first_s * RATE_HZ <= item.counter < last_s * RATE_HZ:
            yield item


def settings_in(folder: Path) -> Path:
    """Settings of a daemon that reads the terminal `port` in the folder."""
    text = settings_text(f'kind = "link"\nport = "{folder / "port"}"')
    (folder / "edge.toml").write_text(text)
    return folder / "edge.toml"


def test_a_port_that_vanishes_is_told_and_the_signal_goes_on_when_it_is_back(
    tmp_path: Path,
) -> None:
    recordings = open_recordings(write_recording(tmp_path, SIGNAL_S))
    terminal = Terminal(tmp_path / "port")
    with launched(settings_in(tmp_path), "--signal-seconds", str(SIGNAL_S)) as daemon:
        terminal.send(line_of(recordings, 0, CUT_S))
        await_line(daemon, "arcing old-post in")
        terminal.unplug()
        assert "went away; check the USB lead" in await_line(daemon, "signal-ended")
        again = Terminal(tmp_path / "port")
        again.send(line_of(recordings, CUT_S + LOST_S, SIGNAL_S))
        assert ended(daemon)[0] == 0
    again.unplug()
    rows = [json.loads(body) for body in kept_bodies(tmp_path, "interval")]
    keys = [(row["insulator"], row["span"], row["start_us"]) for row in rows]
    assert len(keys) == len(set(keys))
    minutes = [row for row in rows if row["span"] != "ten-seconds"]
    for name in ("old-post", "new-rubber"):
        cover_us = sum(row["duration_us"] for row in minutes if row["insulator"] == name)
        assert abs(cover_us - (SIGNAL_S - LOST_S) * 1_000_000) < ON_THE_LINE_US
    assert any("gap" in row["flags"] for row in minutes)


def test_a_stop_closes_the_running_minute_of_a_live_signal(tmp_path: Path) -> None:
    recordings = open_recordings(write_recording(tmp_path, 30))
    terminal = Terminal(tmp_path / "port")
    with launched(settings_in(tmp_path)) as daemon:
        terminal.send(line_of(recordings, 0, 30))
        terminal.wait()
        await_line(daemon, "arcing old-post in")
        assert ended(daemon, signal.SIGTERM)[0] == 0
    terminal.unplug()
    rows = [json.loads(body) for body in kept_bodies(tmp_path, "interval")]
    for name in ("old-post", "new-rubber"):
        (row,) = [r for r in rows if r["insulator"] == name and r["span"] == "minute"]
        assert row["duration_us"] > 19_000_000
    beats = [json.loads(body) for body in kept_bodies(tmp_path, "health")]
    assert sum(beat["samples"] for beat in beats) > 19 * RATE_HZ
