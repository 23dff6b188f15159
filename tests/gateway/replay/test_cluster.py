"""A Dask cluster of this machine, real scheduler and workers: the same bytes, less one worker."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from gateway.replay.run import Request, replay
from gateway.replay.site_run import decide_site
from gateway.replay.spreading import ThisProcess
from tests.broker import free_port
from tests.gateway.commands.running import seafret
from tests.gateway.replay.command import TOP
from tests.gateway.replay.on_cluster import requests_of
from tests.gateway.replay.told import labels_text
from tests.gateway.replay.units import SITE, tree, write_units
from tests.properties.recordings import write_coast

GRID = f"""
[grid]
"arcing.arcing_halfcycles_per_min" = [3, 6, 9, 12, 15]

[[site]]
name = "{SITE}"
data = "history"
unit = "{SITE}.m0"
labels = "labels.csv"

[[site]]
name = "south-mole"
recordings = "feed"
labels = "labels.csv"
held_out = true
"""


@dataclass(frozen=True, slots=True)
class Dask:
    """A running cluster. workers: process numbers."""

    address: str
    workers: tuple[int, ...]


@contextmanager
def started(folder: Path, *words: str) -> Iterator[subprocess.Popen[str]]:
    """A process of the cluster for as long as the block runs."""
    process = subprocess.Popen(
        [sys.executable, "-m", f"distributed.cli.{words[0]}", *words[1:], "--no-dashboard"],
        cwd=TOP, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True,
        env={"PATH": "/usr/bin:/bin", "PYTHONPATH": str(TOP), "TMPDIR": str(folder)},
    )  # fmt: skip
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def said(process: subprocess.Popen[str], pattern: str) -> str:
    """Waits for a line of its log; gives what the pattern holds of it."""
    assert process.stderr is not None
    lines = []
    for line in process.stderr:
        lines.append(line)
        if match := re.search(pattern, line):
            return match[1]
    raise AssertionError("".join(lines))


@pytest.fixture(scope="module")
def dask(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Dask]:
    folder = tmp_path_factory.mktemp("dask")
    with ExitStack() as stack:
        where = ("--host", "127.0.0.1", "--port", str(free_port()))
        scheduler = stack.enter_context(started(folder, "dask_scheduler", *where))
        address = said(scheduler, r"Scheduler at:\s+(tcp://127.0.0.1:\d+)")
        own = ("--nthreads", "1", "--no-nanny", "--local-directory", str(folder))
        workers = [
            stack.enter_context(started(folder, "dask_worker", address, *own)) for _ in range(2)
        ]
        for worker in workers:
            said(worker, r"(Registered to:)")
        yield Dask(address, tuple(worker.pid for worker in workers))


def apart(*words: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", *map(str, words)],
        cwd=TOP, capture_output=True, text=True, timeout=240, check=False,
    )  # fmt: skip


def test_a_cluster_that_loses_a_worker_leaves_the_bytes_of_one_process(
    dask: Dask, tmp_path: Path
) -> None:
    data = write_units(tmp_path / "history", minutes=120)
    feed = write_coast(tmp_path / "feed")
    decide_site(ThisProcess(), data, requests_of(data), tmp_path / "one" / "units")
    replay(Request((feed,)), tmp_path / "one" / "feed")
    words = (dask.address, data, feed, tmp_path / "many", str(dask.workers[0]))
    ran = apart("tests.gateway.replay.on_cluster", *words)
    assert (ran.returncode, ran.stdout.split()) == (0, ["workers", "2", "workers", "1"]), ran.stderr
    assert tree(tmp_path / "many") == tree(tmp_path / "one")
    swept_on_what_is_left(dask, tmp_path)


def swept_on_what_is_left(dask: Dask, folder: Path) -> None:
    (folder / "labels.csv").write_text(labels_text())
    (folder / "grid.toml").write_text(GRID)
    words = ("replay", "--sweep", folder / "grid.toml", "--out")
    assert seafret(*words, folder / "here").code == 0
    ran = apart("gateway", *words, folder / "there", "--scheduler", dask.address)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert tree(folder / "there") == tree(folder / "here")
