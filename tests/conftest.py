"""What every test may ask for: the long form of a campaign, a free port, a running broker, a disk
that is watched."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests import broker as brokers
from tests.edge.keep.disk import build_shim


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="also run the long forms of campaigns")
    parser.addoption("--seeds", default="", help="FIRST-LAST: this part of the simulation only")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Long forms are left out, and counted as deselected, unless they are asked for."""
    if config.getoption("--long"):
        return
    long_ones = [item for item in items if item.get_closest_marker("long")]
    if long_ones:
        config.hook.pytest_deselected(items=long_ones)
        items[:] = [item for item in items if not item.get_closest_marker("long")]


@pytest.fixture
def free_port() -> int:
    """A TCP port of 127.0.0.1 that nobody held a moment ago."""
    return brokers.free_port()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[brokers.Broker]:
    """A running mosquitto on a free port of 127.0.0.1 that lets everybody in, ended afterwards."""
    folder = tmp_path / "broker"
    folder.mkdir()
    running = brokers.Broker(folder)
    running.start()
    try:
        yield running
    finally:
        running.stop()


@pytest.fixture
def memory() -> Iterator[Path]:
    """A folder in memory where there is one, for files as a cut left them."""
    there = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=there if there.is_dir() else None) as folder:
        yield Path(folder)


@pytest.fixture(scope="session")
def shim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The library that watches a process's disk, built once."""
    return build_shim(tmp_path_factory.mktemp("shim"))
