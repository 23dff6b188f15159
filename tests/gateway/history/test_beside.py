"""A gateway with its console beside a worker that takes in the units: it shows what came."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from edge.records import Condition
from tests.broker import Broker
from tests.gateway.console.running import (
    ANSWER_S,
    ROOT,
    SETTINGS,
    Served,
    UnitAtTheBroker,
    send_a_night,
    serving,
)
from tests.gateway.history.behaviour import SITE
from tests.postgres import Server

HISTORY = """
[history]
address = "{address}"
workers = true
"""


@pytest.fixture
def settings_file(tmp_path: Path, broker: Broker, server: Server, free_port: int) -> Path:
    server.empty()
    path = tmp_path / "gateway.toml"
    head, sites = SETTINGS.format(broker=broker.port, console=free_port).split("[sites", 1)
    path.write_text(f"{head}{HISTORY.format(address=server.address())}[sites{sites}")
    return path


@pytest.fixture
def worker(settings_file: Path) -> Iterator[None]:
    command = [sys.executable, "-m", "gateway", "ingest", "--settings", str(settings_file)]
    process = subprocess.Popen(
        [*command, "--worker", "a"], cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    yield
    process.terminate()
    assert process.wait(ANSWER_S) == 0


@pytest.fixture
def served(settings_file: Path, worker: None) -> Iterator[Served]:
    with serving(settings_file) as served:
        yield served


def test_an_alarm_that_a_worker_took_in_is_in_the_list_of_the_gateway_beside_it(
    served: Served, broker: Broker
) -> None:
    unit = UnitAtTheBroker(broker.port)
    try:
        send_a_night(unit, Condition.IN)
    finally:
        unit.close()
    (alarm,) = await_some(served, "alarms", 1)
    assert (alarm["id"], alarm["shown"]) == (f"{SITE}.1", "new")
    assert len(await_some(served, "insulators", 2)) == 2


def await_some(served: Served, what: str, count: int) -> list[dict[str, Any]]:
    """What the gateway tells, once it is so much: it looks twice a second at the database."""
    until = time.monotonic() + ANSWER_S
    while True:
        told = served.get(what, site=SITE)
        found: list[dict[str, Any]] = told["alarms"] if what == "alarms" else told
        if len(found) >= count:
            return found
        assert time.monotonic() < until, f"{what}: {found}"
        time.sleep(0.05)
