"""The wheel is built once for all that look at it."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.house.wheel import Wheel, bare_site, build


@pytest.fixture(scope="session")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Wheel:
    """This checkout's wheel, built and unpacked."""
    return build(tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="session")
def bare(wheel: Wheel, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a pole computer has: the wheel and the base requirements."""
    return bare_site(wheel, tmp_path_factory.mktemp("bare"))
