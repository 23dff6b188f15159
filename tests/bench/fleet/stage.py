"""A broker, a gateway and processes full of units, all real, on this machine."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing import get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import httpx

from tests.bench.fleet import crowd
from tests.bench.timing import TOP
from tests.broker import Broker, free_port

WAIT_S = 300.0
"""Nothing here may take longer, on a machine that others use too."""

TICKS = os.sysconf("SC_CLK_TCK")
LOOK_S = 0.05


@dataclass(frozen=True, slots=True)
class Size:
    """Of the fleet. crowds: processes with units. in_flight: messages that the broker hands a
    client before they are acknowledged; 0: as it is deployed."""

    sites: int
    units: int
    crowds: int = 2
    in_flight: int = 0

    @property
    def names(self) -> list[str]:
        """Units, those of one site side by side."""
        return [f"site-{n * self.sites // self.units:03}.m{n}" for n in range(self.units)]


@dataclass(slots=True)
class Stage:
    """gateways: processes that take in; console: its address, "" beside workers alone."""

    size: Size
    broker: Broker
    console: str
    gateways: list[subprocess.Popen[bytes]] = field(default_factory=list)
    pipes: list[Connection] = field(default_factory=list)
    people: list[BaseProcess] = field(default_factory=list)

    def tell(self, asked: str, given: object = None) -> list[dict[str, Any]]:
        """What each crowd answers."""
        for pipe in self.pipes:
            pipe.send((asked, given))
        found = []
        for pipe in self.pipes:
            assert pipe.poll(WAIT_S), "a crowd of units does not answer"
            found.append(pipe.recv())
        return found

    def sum(self, name: str) -> int:
        """Of all crowds now."""
        return sum(one[name] for one in self.tell("how"))

    def until(self, name: str, wanted: int) -> float:
        """Seconds until the sum of all crowds is that; it is awaited by looking."""
        begun_s = time.monotonic()
        while (found := self.sum(name)) != wanted:
            assert time.monotonic() - begun_s < WAIT_S, f"{name} is {found}, not {wanted}"
            self.check()
            time.sleep(LOOK_S)
        return time.monotonic() - begun_s

    def check(self) -> None:
        """Fails where a gateway has ended."""
        assert all(one.poll() is None for one in self.gateways), "a gateway has ended"

    def get(self, path: str) -> Any:
        """What the console's API answers."""
        answer = httpx.get(self.console + path, timeout=WAIT_S, trust_env=False)
        answer.raise_for_status()
        return answer.json() if path.startswith("/api") else answer.content

    def gateway_cpu_s(self) -> float:
        """Processor time of all gateways so far."""
        return sum(cpu_of(one.pid) for one in self.gateways)

    def memory_mb(self) -> float:
        """Resident memory of all gateways."""
        return sum(memory_of(one.pid) for one in self.gateways)


def cpu_of(pid: int) -> float:
    """Processor time of a process [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def memory_of(pid: int) -> float:
    """Resident memory of a process [MB]."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    (line,) = [one for one in lines if one.startswith("VmRSS")]
    return int(line.split()[1]) / 1024


SETTINGS = """
data = "history"
{history}
[broker]
port = {port}
[console]
port = {console}
"""


@contextmanager
def staged(folder: Path, size: Size, history: str = "", workers: int = 0) -> Iterator[Stage]:
    """All of it, while the block runs. history: lines of the gateway's settings that name a
    database. workers: so many `seafret ingest` in place of one `seafret serve`."""
    folder.mkdir(parents=True, exist_ok=True)
    broker = Broker(folder, limits(size.in_flight), tells_all=False)
    broker.start()
    try:
        with _gateways(folder, size, broker, history, workers) as stage:
            _people(stage)
            try:
                stage.until("ready", size.units)
                yield stage
            finally:
                for pipe in stage.pipes:
                    pipe.send(("end", None))
                for process in stage.people:
                    process.join(WAIT_S)
    finally:
        broker.stop()


def limits(in_flight: int) -> list[str]:
    """Of messages and bytes that wait, as the broker is deployed; in_flight: see `Size`."""
    (settings,) = (TOP / "deploy" / "broker").glob("*.conf")
    lines = settings.read_text(encoding="utf-8").splitlines()
    found = [one for one in lines if one.startswith(("max_", "set_tcp_nodelay"))]
    (own,) = [one for one in found if one.startswith("max_inflight_messages")]
    if in_flight:
        found[found.index(own)] = f"max_inflight_messages {in_flight}"
    return found


@contextmanager
def _gateways(
    folder: Path, size: Size, broker: Broker, history: str, workers: int
) -> Iterator[Stage]:
    console = free_port()
    apart = "workers = true\n" if workers else ""
    text = SETTINGS.format(history=history + apart, port=broker.port, console=console)
    sites = sorted({name.partition(".")[0] for name in size.names})
    tables = [f"[sites.{site}]\n" for site in sites]
    settings = folder / "gateway.toml"
    settings.write_text(text + "".join(tables), encoding="utf-8")
    stage = Stage(size, broker, "" if workers else f"http://127.0.0.1:{console}")
    given = [["ingest", "--worker", f"w{n}"] for n in range(workers)] or [["serve"]]
    try:
        with (folder / "gateway.log").open("wb") as log:
            for words in given:
                process = subprocess.Popen(
                    [sys.executable, "-m", "gateway", *words, "--settings", str(settings)],
                    cwd=TOP, stdout=log, stderr=log,
                    env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
                )  # fmt: skip
                stage.gateways.append(process)
        if stage.console:
            _await_console(stage, folder / "gateway.log")
        yield stage
    finally:
        for process in stage.gateways:
            process.terminate()
        for process in stage.gateways:
            process.wait(WAIT_S)


def _await_console(stage: Stage, log: Path) -> None:
    begun_s = time.monotonic()
    while True:
        try:
            if stage.get("/api/1/health")["broker_connected"]:
                return
        except (httpx.TransportError, json.JSONDecodeError):
            pass
        assert all(one.poll() is None for one in stage.gateways), log.read_text()
        assert time.monotonic() - begun_s < WAIT_S, log.read_text()
        time.sleep(LOOK_S)


def _people(stage: Stage) -> None:
    context = get_context("spawn")
    shares: list[Sequence[str]] = [
        stage.size.names[at :: stage.size.crowds] for at in range(stage.size.crowds)
    ]
    for names in shares:
        ours, theirs = context.Pipe()
        process = context.Process(
            target=crowd.run, args=(stage.broker.port, list(names), theirs), daemon=True
        )
        process.start()
        stage.pipes.append(ours)
        stage.people.append(process)
