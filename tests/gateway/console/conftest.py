"""A running gateway, a unit beside it and the commands."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.broker import Broker
from tests.gateway.console.running import SETTINGS, Served, serving


@pytest.fixture
def settings_file(tmp_path: Path, broker: Broker, free_port: int) -> Path:
    path = tmp_path / "gateway.toml"
    path.write_text(SETTINGS.format(broker=broker.port, console=free_port))
    return path


@pytest.fixture
def served(settings_file: Path) -> Iterator[Served]:
    with serving(settings_file) as served:
        yield served
