"""Weeks without a link: all of it is held, drained fast, and alarms do not wait behind it."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import pytest

from edge.daemon.running import FILE_NAME
from edge.keep import DurableFile
from edge.records import Record, Stream
from gateway.history.sqlite_store import SqliteHistory
from tests.broker import Broker, free_port
from tests.campaigns.trial import SERVE
from tests.edge.keep.builders import UNIT, alarm, health_row, minute_row, stamp, weather_row
from tests.system.draining_unit import QUOTA_BYTES, Told, resident_mb

ROOT = Path(__file__).parents[2]
SITE = UNIT.partition(".")[0]
INSULATORS = ("P7-A", "P7-B", "P7-C", "P7-D")
MINUTES_A_COMMIT = 60
WEEK_MINUTES = 7 * 1440
EVER = (0, 2**62)

REAL_TIME_MIN = 100
LATE_S_MAX = 5.0
GROWTH_MB_MAX = 10.0


def held(folder: Path, minutes: int) -> int:
    """A durable file with so many minutes of four insulators that are never dry, one alarm a day;
    how many arcing half-cycles the first of them had."""
    folder.mkdir()
    file = DurableFile(folder / FILE_NAME, UNIT, stamp(), quota_bytes=QUOTA_BYTES)
    arcs = 0
    for first in range(0, minutes, MINUTES_A_COMMIT):
        records: list[Record] = []
        for n in range(first, min(first + MINUTES_A_COMMIT, minutes)):
            records += [
                minute_row(
                    n, insulator=one, arcing_halfcycles=n % 90, arc_pulses=(n % 90, 0, 0, 0, 0)
                )
                for one in INSULATORS
            ]
            records += [health_row(n), weather_row(n)]
            arcs += n % 90
        records += [alarm(first)] if first % 1440 == 0 else []
        file.commit(records, {}, stamp(first))
    given_up = file._db.execute("SELECT 1 FROM outbox WHERE rank=9").fetchone()
    assert given_up is None, "the quota holds all of it, minute by minute"
    file.close()
    return arcs


@dataclass
class Drained:
    """unit: what it told. gateway_mb: memory of the gateway, every half second."""

    unit: Told
    gateway_mb: list[float]


def drained(folder: Path, broker: Broker, alarm_every_s: float) -> Drained:
    """The unit and `seafret serve` as processes, until the unit has nothing left to send."""
    settings = folder / "gateway.toml"
    settings.write_text(SERVE.format(port=broker.port, console=free_port()))
    serve = [sys.executable, "-m", "gateway", "serve", "--settings", str(settings)]
    unit = [sys.executable, "-m", "tests.system.draining_unit", str(folder / "unit")]
    memory: list[float] = []
    with (folder / "gateway.log").open("wb") as log:
        gateway = subprocess.Popen(serve, stdout=log, stderr=log, cwd=ROOT)
        sender = subprocess.Popen(
            [*unit, str(broker.port), str(alarm_every_s)], stdout=subprocess.PIPE, cwd=ROOT
        )
        try:
            while sender.poll() is None:
                memory.append(resident_mb(str(gateway.pid)))
                assert gateway.poll() is None, (folder / "gateway.log").read_text()[-3000:]
                time.sleep(0.5)
            assert sender.stdout is not None
            told = Told(**json.loads(sender.stdout.read()))
            gateway.terminate()
            assert gateway.wait(60) == 0
        finally:
            for process in (sender, gateway):
                process.kill()
                process.wait(60)
                if process.stdout is not None:
                    process.stdout.close()
    return Drained(told, memory)


def outage(folder: Path, broker: Broker, minutes: int, alarm_every_s: float) -> None:
    arcs = held(folder / "unit", minutes)
    size_mb = (folder / "unit" / FILE_NAME).stat().st_size / 1e6
    found = drained(folder, broker, alarm_every_s)
    told = found.unit
    faster = minutes * 60 / told.drained_s
    growth_mb = max(told.memory_mb) - told.memory_mb[0]
    gateway_mb = max(found.gateway_mb[len(found.gateway_mb) // 2 :]) - max(
        found.gateway_mb[: len(found.gateway_mb) // 2 + 1]
    )
    print(
        f"{minutes / 1440:.1f} days, {told.backlog} records, {size_mb:.0f} MB held; drained in "
        f"{told.drained_s:.1f} s, {told.backlog / told.drained_s:.0f} a second, {faster:.0f} times "
        f"real time; {len(told.late_s)} alarms at most {max(told.late_s):.2f} s late; memory of "
        f"the unit {told.memory_mb[0]:.0f} MB and {growth_mb:+.1f}, of the gateway "
        f"{max(found.gateway_mb):.0f} MB, {gateway_mb:+.1f} in the second half"
    )
    assert faster >= REAL_TIME_MIN
    assert len(told.late_s) >= 3 and max(told.late_s) <= LATE_S_MAX
    assert growth_mb <= GROWTH_MB_MAX
    reader = SqliteHistory(folder / "history").reader(SITE)
    for insulator in INSULATORS:
        sums = reader.exposure(insulator, *EVER)
        assert (sums["rows"], sums["arcing_halfcycles"]) == (minutes, arcs)
    assert not reader.losses()
    marks = {key.stream: mark.upto for key, mark in reader.marks().items()}
    assert marks[Stream.ALARM] == 1 + len(told.late_s) + -(-minutes // 1440)
    reader.close()


def test_a_day_without_a_link_drains_fast_and_live_alarms_overtake_it(
    tmp_path: Path, broker: Broker
) -> None:
    outage(tmp_path, broker, 1440, alarm_every_s=0.5)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_eight_weeks_without_a_link_are_held_and_drain_with_flat_memory(
    tmp_path: Path, broker: Broker
) -> None:
    outage(tmp_path, broker, 8 * WEEK_MINUTES, alarm_every_s=1.0)
