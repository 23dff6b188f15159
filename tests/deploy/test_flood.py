"""One unit that floods costs the others at most as long again."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

import pytest

from tests.deploy.deployed import until
from tests.deploy.standing import Standing, standing
from tests.house.measures import TOP

FLOODER = "gannet-head.flooder"
ROUNDS = 40
WARM_UP = 10
TIMES_MAX = 2.0
GRAIN_S = 0.02
"""Differences below this are the machine's: two cores carry broker, gateway, flooder and test."""


@contextmanager
def flood(deployed: Standing) -> Iterator[None]:
    pair = deployed.authority.unit(FLOODER)
    flooder = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "tests.deploy.flooder",
            str(deployed.broker.port),
            FLOODER,
            str(pair),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=TOP,
    )
    assert flooder.stdin is not None and flooder.stdout is not None
    try:
        assert flooder.stdout.readline() == "floods\n"
        yield
    finally:
        flooder.stdin.close()
        flooder.wait(timeout=20)
        flooder.stdout.close()


def latencies_s(deployed: Standing) -> list[float]:
    """From sending a line to its receipt, sorted."""
    found = []
    for _ in range(ROUNDS):
        begun_s = time.perf_counter()
        deployed.honest()
        found.append(time.perf_counter() - begun_s)
    return sorted(found)


@pytest.mark.timeout(120)
def test_a_flood_from_one_unit_leaves_the_others_latency_within_twice(tmp_path: Path) -> None:
    with standing(tmp_path) as deployed:
        for _ in range(WARM_UP):
            deployed.honest()
        alone = latencies_s(deployed)
        with flood(deployed):
            for _ in range(WARM_UP):
                deployed.honest()
            flooded = latencies_s(deployed)
            until(lambda: deployed.told("flood", FLOODER) > 0, "the flood is told")
        shed = deployed.told("flood", FLOODER)
    print(f"alone {median(alone):.4f} s, flooded {median(flooded):.4f} s, {shed} shed")
    assert median(flooded) <= TIMES_MAX * median(alone) + GRAIN_S, (alone, flooded)
