"""The console under load: 200 sites with 5,000 insulators, 50 operators connected.

    python -m tests.bench.consoling

A process of its own serves; what is said of memory and of the processor is that process's alone.
Nothing is ingested meanwhile but what the bench commits, so the figures are the console's with its
histories; the threads of broker and ingest come on top of them.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import threading
import time
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING

import httpx

from tests.bench.report import table
from tests.bench.timing import Figure, figure

if TYPE_CHECKING:
    from tests.gateway.console.house import House

SITES, UNITS, INSULATORS = 200, 5, 5
NAMES = [f"site-{number:03}" for number in range(SITES)]
OPERATORS = 50
QUIET_S = 12.0
ROUNDS = 5

PAGES = {
    "fleet page, whole": "/",
    "alarm list, whole": "/alarms",
    "site page, whole": "/sites/site-007",
    "units page, whole": "/units",
}


def opened(folder: str) -> House:
    """The console over the bench's sites. Without pandas, which sqlite-utils would import where the
    tests have it installed and a gateway has not."""
    sys.modules["pandas"] = None  # type: ignore[assignment]
    from gateway.settings import Site, Unit
    from tests.gateway.console.house import House

    units = {
        f"m{unit}": Unit(insulators=tuple(f"U{unit}-{k}" for k in range(INSULATORS)))
        for unit in range(UNITS)
    }
    register = {site: Site(title=f"Headland {site[-3:]}", units=units) for site in NAMES}
    return House(Path(folder), register=register, rate=1.0)


def fill(folder: str) -> None:
    """Histories as a gateway finds them when it starts: files that are there already."""
    from edge.records import Stream
    from tests.gateway.build import condition, epoch_start, interval

    house = opened(folder)
    for site in NAMES:
        for unit in range(UNITS):
            rows = [interval(2, f"U{unit}-{k}", flags=()) for k in range(INSULATORS)]
            house.commit(epoch_start(), *rows, stream=Stream.INTERVAL, unit=f"{site}.m{unit}")
    house.commit(epoch_start(), condition(1, subject="U0-0"), unit="site-007.m0")
    house.close()


def serve(folder: str, pipe: Connection) -> None:
    """The process that is measured: tells its address, then its figures whenever it is asked."""
    from edge.records import Stream
    from gateway.console.recall import recall
    from tests.gateway.build import interval

    house = opened(folder)
    house.summary = recall(house.history, NAMES, house.now_us)
    pipe.send(house.address)
    count = 1 + INSULATORS
    while (asked := pipe.recv()) != "end":
        if asked == "commit":
            house.numbers["site-007.m0", Stream.INTERVAL] = count
            count += 1
            row = interval(2, "U0-0", flags=(), peak_ua=count, start_counter=count)
            house.commit(row, stream=Stream.INTERVAL, unit="site-007.m0")
        pipe.send((time.process_time(), rss_mb()))
    house.close()


def rss_mb() -> float:
    """Resident memory now."""
    fields = Path("/proc/self/statm").read_text().split()
    return int(fields[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


class Operator(threading.Thread):
    """One open page: a stream, and after each change the live part of the fleet."""

    def __init__(self, address: str, heard: list[float]) -> None:
        super().__init__(daemon=True)
        self._address, self._heard = address, heard
        self._open = True

    def run(self) -> None:
        """Until the server ends it."""
        have = ""
        with httpx.Client(base_url=self._address, timeout=60, trust_env=False) as client:
            try:
                with client.stream("GET", "/stream") as stream:
                    for text in stream.iter_text():
                        if "event: change" in text:
                            headers = {"x-seafret-part": "1", "x-seafret-have": have}
                            answer = client.get("/", headers=headers)
                            have = answer.headers["x-seafret-have"]
                            self._heard.append(time.monotonic())
            except httpx.HTTPError:
                return  # the server has ended


def measured(folder: Path) -> list[Figure]:
    """The figures, in the order in which they are taken."""
    before = get_context("spawn").Process(target=fill, args=(str(folder),))
    before.start()
    before.join()
    here, there = get_context("spawn").Pipe()
    process = get_context("spawn").Process(target=serve, args=(str(folder), there), daemon=True)
    process.start()
    address = here.recv()
    figures = [*_pages(address)]
    heard: list[float] = []
    people = [Operator(address, heard) for _ in range(OPERATORS)]
    for one in people:
        one.start()
    _await_connected(here, address)
    figures += _quiet(here)
    figures += _event(here, heard)
    here.send("end")
    process.join(30)
    return figures


def ask(pipe: Connection, what: str = "figures") -> tuple[float, float]:
    """Processor time [s] and memory [MB] of the process that serves."""
    pipe.send(what)
    told: tuple[float, float] = pipe.recv()
    return told


def _pages(address: str) -> list[Figure]:
    found = []
    with httpx.Client(base_url=address, timeout=60, trust_env=False) as client:
        client.get("/")
        for name, path in PAGES.items():
            times, size = [], 0
            for _ in range(ROUNDS):
                begun = time.perf_counter()
                answer = client.get(path, headers={"accept-encoding": "gzip"})
                times.append(time.perf_counter() - begun)
                size = answer.num_bytes_downloaded
            found.append(figure("console", name, "s wall", times, "under 1"))
            found.append(figure("console", f"{name}, sent", "kB", [size / 1000], ""))
    return found


def _await_connected(pipe: Connection, address: str) -> None:
    while True:
        text = httpx.get(f"{address}/about", trust_env=False).text
        if f"<dd>{OPERATORS}</dd>" in text:
            return


def _quiet(pipe: Connection) -> list[Figure]:
    before_s, _ = ask(pipe)
    time.sleep(QUIET_S)
    after_s, memory_mb = ask(pipe)
    share = 100 * (after_s - before_s) / QUIET_S
    people = f"{OPERATORS} operators"
    return [
        figure("console", f"{people}, quiet: share of a core", "%", [share], "under 5"),
        figure("console", f"{people}: memory", "MB", [memory_mb], "under 150"),
    ]


def _event(pipe: Connection, heard: list[float]) -> list[Figure]:
    """From a commit to the last of all operators' pages having what is new."""
    waits, costs = [], []
    for _ in range(ROUNDS):
        heard.clear()
        before_s, _ = ask(pipe)
        begun = time.monotonic()
        ask(pipe, "commit")
        while len(heard) < OPERATORS:
            time.sleep(0.01)
        waits.append(max(heard) - begun)
        costs.append(ask(pipe)[0] - before_s)
    name = f"a commit until all {OPERATORS} pages have it"
    return [
        figure("console", name, "s wall", waits, "under 1"),
        figure("console", "processor time of that", "s", costs, ""),
    ]


def main() -> int:
    """Prints the table; the exit code is 0."""
    argparse.ArgumentParser(prog="python -m tests.bench.consoling").parse_args()
    with tempfile.TemporaryDirectory() as folder:
        print(table(measured(Path(folder))), end="")
    return 0


if __name__ == "__main__":
    sys.exit(main())
