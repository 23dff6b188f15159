"""The whole daemon at a recorded night, killed in mid-minute; broker and gateway killed too."""

from __future__ import annotations

import json
import random
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from edge.records import Stream
from gateway.history.sqlite_store import SqliteHistory
from tests.broker import Broker
from tests.campaigns.trial import ROOT, Trial
from tests.edge.daemon.builders import (
    RECORDED,
    daemon_in,
    kept_bodies,
    played_out,
    settings_text,
    write_recording,
)
from tests.edge.daemon.launching import END_S, await_line, clock_file, launched

SITE = "gannet-stack"
SIGNAL_S, LONG_SIGNAL_S = 70.0, 400.0
KILLS, LONG_KILLS = 5, 60
FAST = 12.0
"""Signal time against real time, so that a kill falls into a minute."""

KINDS = ("condition", "interval")


def killed_over_and_over(folder: Path, broker: Broker, signal_s: float, kills: int) -> None:
    """What the history holds in the end is what an undisturbed daemon keeps, body for body."""
    (calm := folder / "calm").mkdir()
    write_recording(calm, signal_s)
    played_out(daemon_in(calm, settings_text(RECORDED)))
    (storm := folder / "storm").mkdir()
    for name in ("night.cfg", "night.dat"):
        (storm / name).symlink_to(calm / name)
    settings = storm / "edge.toml"
    settings.write_text(settings_text(RECORDED, broker.port))
    clock, chance = clock_file(storm, FAST), random.Random(kills)
    with Trial(folder, broker, gateway=("--site", SITE)) as trial:
        trial.start_gateway()
        for number in range(kills):
            with launched(settings, "--clock", clock) as daemon:
                await_line(daemon, "started")
                time.sleep(chance.uniform(0.1, 1.5))  # the random time is the point
                daemon.kill()
            if number % 2:
                trial.kill("gateway")
                trial.start_gateway()
            else:
                trial.kill("broker")
                broker.start()
        command = [sys.executable, "-m", "edge", "run", "--settings", str(settings)]
        done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=2 * END_S)
        assert done.returncode == 0, done.stderr[-2000:]
        assert trial.end("gateway") == 0
        print(f"{kills} kills of the daemon, {dict(trial.faults)} beside")
    for kind, stream in zip(KINDS, (Stream.ALARM, Stream.INTERVAL), strict=True):
        expected = without_settings(kept_bodies(calm, kind))
        held = in_history(trial.history_folder, stream)
        assert expected and without_settings(held) == expected
        print(f"{stream.value}: {len(expected)} bodies, the same")


def without_settings(bodies: list[bytes]) -> list[dict[str, object]]:
    """The hash of the settings aside: only one of the two daemons has a broker."""
    plain = [json.loads(body) for body in bodies]
    return [{name: each[name] for name in each if name != "settings_sha"} for each in plain]


def in_history(history: Path, stream: Stream) -> list[bytes]:
    """All bodies of a stream but the first, which begins the epoch."""
    with closing(SqliteHistory(history).reader(SITE)) as reader:
        (key,) = [key for key in reader.marks() if key.stream is stream]
        return [line.body for line in reader.lines(key)][1:]


def test_a_daemon_killed_over_and_over_delivers_what_a_calm_one_keeps(
    tmp_path: Path, broker: Broker
) -> None:
    killed_over_and_over(tmp_path, broker, SIGNAL_S, KILLS)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_a_daemon_killed_sixty_times_delivers_what_a_calm_one_keeps(
    tmp_path: Path, broker: Broker
) -> None:
    killed_over_and_over(tmp_path, broker, LONG_SIGNAL_S, LONG_KILLS)
