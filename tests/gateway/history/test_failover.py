"""Workers killed again and again: every unit's lines arrive once and in order, and soon."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from gateway.history.postgres_store import PostgresHistory
from gateway.history.store import StreamKey
from tests.broker import Broker
from tests.gateway.build import key
from tests.gateway.history.behaviour import SITE
from tests.gateway.ingest.numbered_unit import NumberedUnit
from tests.postgres import Server

ROOT = Path(__file__).parents[3]
TAKEOVER_S_MAX = 10.0
WAIT_S = 60.0
ENDLESS = 10_000_000

SETTINGS = """
data = "{folder}"
[broker]
port = {port}
[history]
address = "{address}"
workers = true
lease_s = 1
[sites.{site}]
"""


class Fleet:
    """Two worker processes over one broker and one server."""

    def __init__(self, folder: Path, broker: Broker, server: Server) -> None:
        self._settings = folder / "gateway.toml"
        self._settings.write_text(
            SETTINGS.format(
                folder=folder / "data", port=broker.port, address=server.address(), site=SITE
            )
        )
        self._log = (folder / "log").open("w")
        self._server = server
        self.processes: dict[str, subprocess.Popen[bytes]] = {}

    def start(self, name: str) -> None:
        command = [sys.executable, "-m", "gateway", "ingest", "--settings", str(self._settings)]
        self.processes[name] = subprocess.Popen(
            [*command, "--worker", name], cwd=ROOT, stdout=self._log, stderr=self._log
        )

    def held_by(self, name: str) -> set[str]:
        with psycopg.connect(self._server.address()) as connection:
            (there,) = connection.execute("SELECT to_regclass('fleet.leases')").fetchone() or (0,)
            if there is None:
                return set()
            asked = "SELECT unit FROM fleet.leases WHERE worker = %s"
            return {unit for (unit,) in connection.execute(asked, (name,))}

    def await_units(self, name: str, count: int) -> set[str]:
        """Until the worker holds so many; a look at the table is the only event there is."""
        until = time.monotonic() + WAIT_S
        while len(held := self.held_by(name)) < count:
            assert time.monotonic() < until, f"{name} holds {held}\n{self.told()}"
            assert self.processes[name].poll() is None, self.told()
            time.sleep(0.05)
        return held

    def told(self) -> str:
        return Path(self._log.name).read_text()[-4000:]

    def stop(self) -> None:
        for process in self.processes.values():
            process.terminate()
        for process in self.processes.values():
            process.wait(WAIT_S)
        self._log.close()


@pytest.fixture
def fleet(tmp_path: Path, broker: Broker, server: Server) -> Iterator[Fleet]:
    server.empty()
    made = Fleet(tmp_path, broker, server)
    yield made
    made.stop()


@pytest.fixture
def units(broker: Broker) -> Iterator[list[NumberedUnit]]:
    made = [NumberedUnit(f"{SITE}.m{n}", broker.port) for n in range(4)]
    yield made
    for one in made:
        one.stop()


def stop_and_watch(fleet: Fleet, name: str, units: list[NumberedUnit]) -> None:
    """Lets a worker stand still until its units are another's, and then go on."""
    held = fleet.await_units(name, 2)
    process = fleet.processes[name]
    process.send_signal(signal.SIGSTOP)
    for unit in units:
        if unit.unit in held:
            unit.await_receipt(unit.receipted + 60, WAIT_S)
    process.send_signal(signal.SIGCONT)


def kill_and_watch(fleet: Fleet, name: str, units: list[NumberedUnit]) -> float:
    """Kills a worker that holds units; seconds until each of them was receipted by another."""
    held = fleet.await_units(name, 2)
    process = fleet.processes[name]
    process.kill()
    process.wait()
    killed_s = time.monotonic()
    for unit in units:
        if unit.unit in held:
            unit.await_receipt(unit.receipted + 1, WAIT_S)
    taken_over_s = time.monotonic() - killed_s
    fleet.start(name)
    return taken_over_s


def check_history(server: Server, units: list[NumberedUnit], upto: int) -> None:
    reader = PostgresHistory(server.address()).reader(SITE)
    for unit in units:
        sent = StreamKey(unit.unit, key().epoch, key().stream)
        assert reader.marks()[sent].upto == upto
        lines = []
        while page := reader.lines(sent, len(lines)):
            lines += page
        assert [one.seq for one in lines] == list(range(1, upto + 1))
        assert [one.record for one in lines] == [unit.record(n) for n in range(1, upto + 1)]
        found = reader.ask("SELECT count(*) FROM interval").fetchone()[0]
        assert found == len(units) * (upto - 1)
    assert reader.refusals() == [] and reader.security_events() == []
    reader.close()


def to_the_end(units: list[NumberedUnit]) -> int:
    """Until all have sent equally many; how many."""
    upto = max(unit.stand() for unit in units) + 200
    for unit in units:
        unit.want(upto)
    for unit in units:
        unit.await_receipt(upto, WAIT_S)
    return upto


@pytest.mark.parametrize("kills", [3, pytest.param(100, marks=pytest.mark.long)])
def test_workers_that_are_killed_lose_nothing_and_repeat_nothing(
    fleet: Fleet, units: list[NumberedUnit], server: Server, kills: int
) -> None:
    for name in ("a", "b"):
        fleet.start(name)
    for unit in units:
        unit.want(ENDLESS)
    slowest_s = max(kill_and_watch(fleet, "ab"[n % 2], units) for n in range(kills))
    upto = to_the_end(units)
    check_history(server, units, upto)
    print(f"{kills} kills, {upto} lines of each of {len(units)} units, {slowest_s:.1f} s at most")
    assert slowest_s < TAKEOVER_S_MAX


@pytest.mark.long
def test_a_worker_that_stood_still_and_wakes_up_spoils_nothing(
    fleet: Fleet, units: list[NumberedUnit], server: Server
) -> None:
    for name in ("a", "b"):
        fleet.start(name)
    for unit in units:
        unit.want(ENDLESS)
    for name in "abab":
        stop_and_watch(fleet, name, units)
    check_history(server, units, to_the_end(units))
