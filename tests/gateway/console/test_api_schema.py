"""The API against its own description: whatever is sent, no fault of the program comes back."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.gateway.build import condition, epoch_start
from tests.gateway.console.house import House

CHECKS = "not_a_server_error,status_code_conformance,content_type_conformance"
EXAMPLES = "5"


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path)
    made.commit(epoch_start(), condition(1))
    yield made
    made.close()


def test_the_api_keeps_to_its_description_under_generated_requests(
    house: House, tmp_path: Path
) -> None:
    command = [
        *(sys.executable, "-m", "schemathesis.cli", "run", "--checks", CHECKS),
        *("--phases", "examples,fuzzing", "--max-examples", EXAMPLES, "--generation-database"),
        *("none", "--seed", "1", "--no-color", f"{house.address}/api/1/openapi.json"),
    ]
    said = subprocess.run(
        command, capture_output=True, text=True, cwd=tmp_path, check=False, timeout=240,
        env={**os.environ, "NO_PROXY": "127.0.0.1"},
    )  # fmt: skip
    assert said.returncode == 0, said.stdout[-4000:] + said.stderr[-2000:]
    assert "API operations" in said.stdout or "Operations" in said.stdout
