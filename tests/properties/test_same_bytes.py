"""The same recording gives the same bytes: any block size, any number of processes, any SIMD.

Everything that is rounded is computed in kernels of fixed shape, so the results may differ between
processors only where a quantity lies exactly between two whole numbers.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from edge.pipeline import Outputs
from edge.records import ConditionChange, IntervalRow
from edge.wire import body_line, digest
from gateway.replay.feeds import opened_feed
from gateway.replay.player import played
from gateway.replay.run import RESULT_NAMES, Request, plans_for, replay
from tests.properties.recordings import RATE_HZ, coast, description, write, write_coast

WHOLE = 1 << 20
TOP = Path(__file__).resolve().parents[2]

CHILD = """
import sys
from pathlib import Path
from numpy._core._multiarray_umath import __cpu_features__
from gateway.replay.run import Request, replay
replay(Request((Path(sys.argv[1]),)), Path(sys.argv[2]))
print(sorted(name for name, there in __cpu_features__.items() if there))
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_coast(tmp_path_factory.mktemp("coast"))


@pytest.fixture(scope="module")
def reference(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Hashes of the files when each record is one block."""
    return results(Request((folder,), block_samples=WHOLE), tmp_path_factory.mktemp("whole"))


def results(request: Request, out: Path) -> dict[str, str]:
    replay(request, out)
    return hashes(out)


def hashes(out: Path) -> dict[str, str]:
    return {name: hashlib.sha256((out / name).read_bytes()).hexdigest() for name in RESULT_NAMES}


def bodies(folder: Path, block_samples: int) -> list[str]:
    """Digests of all records, rows of ten seconds too, in their order."""
    with opened_feed([folder]) as feed:
        plans, _ = plans_for(feed, None)
        outputs: list[Outputs] = list(played(plans, feed.items(block_samples)))
    return [digest(body_line(record)) for one in outputs for record in one.records]


def test_the_reference_has_arcs_a_tick_a_gap_and_events(
    folder: Path, reference: dict[str, str]
) -> None:
    """Else equal bytes would say little."""
    with opened_feed([folder]) as feed:
        plans, _ = plans_for(feed, None)
        records = [r for one in played(plans, feed.items()) for r in one.records]
    rows = [record for record in records if isinstance(record, IntervalRow)]
    assert len(reference) == 4
    assert len({row.start_us // 600_000_000 for row in rows}) == 2
    assert any("gap" in row.flags for row in rows)
    assert {row.span.value for row in rows} == {"minute", "ten-seconds"}
    assert sum(row.arcing_halfcycles for row in rows if row.span.value == "minute") > 50
    assert any(isinstance(record, ConditionChange) for record in records)


@pytest.mark.parametrize("block_samples", [7, 480, 4_801])
def test_files_do_not_depend_on_the_block_size(
    folder: Path, reference: dict[str, str], tmp_path: Path, block_samples: int
) -> None:
    assert results(Request((folder,), block_samples=block_samples), tmp_path) == reference


def test_files_do_not_depend_on_the_block_size_down_to_a_single_sample(tmp_path: Path) -> None:
    """Over the tick, in fewer seconds, since every sample is a step of its own."""
    samples = coast()[round(2.2 * RATE_HZ) : round(3.6 * RATE_HZ)]
    path = write(tmp_path / "short.cfg", samples, description())
    single = results(Request((path,), block_samples=1), tmp_path / "single")
    assert single == results(Request((path,), block_samples=WHOLE), tmp_path / "whole")


@pytest.mark.parametrize("block_samples", [7, 4_801])
def test_bodies_of_all_records_do_not_depend_on_the_block_size(
    folder: Path, block_samples: int
) -> None:
    assert bodies(folder, block_samples) == bodies(folder, WHOLE)


def test_files_do_not_depend_on_the_number_of_processes(
    folder: Path, reference: dict[str, str], tmp_path: Path
) -> None:
    assert results(Request((folder,), processes=2, block_samples=4_801), tmp_path) == reference


def dispatched() -> str:
    """What numpy could do without on this processor, as its switch wants it."""
    from numpy._core._multiarray_umath import __cpu_dispatch__, __cpu_features__

    return " ".join(name for name in __cpu_dispatch__ if __cpu_features__.get(name))


def replayed_apart(folder: Path, out: Path, setting: Mapping[str, str]) -> str:
    """Replays in a process of its own; the processor features that numpy used there."""
    ran = subprocess.run(
        [sys.executable, "-c", CHILD, str(folder), str(out)],
        cwd=TOP,
        env={**os.environ, **setting},
        capture_output=True,
        text=True,
        check=True,
    )
    return ran.stdout


def test_files_do_not_depend_on_the_processors_vector_instructions(
    folder: Path, reference: dict[str, str], tmp_path: Path
) -> None:
    plain = replayed_apart(folder, tmp_path / "plain", {})
    off = {"NPY_DISABLE_CPU_FEATURES": dispatched(), "OPENBLAS_NUM_THREADS": "1"}
    without = replayed_apart(folder, tmp_path / "without", off)
    assert without != plain
    assert hashes(tmp_path / "plain") == hashes(tmp_path / "without") == reference


@pytest.mark.parametrize("core", ["Prescott", "Nehalem", "Haswell"])
def test_files_do_not_depend_on_the_kernels_of_linear_algebra(
    folder: Path, reference: dict[str, str], tmp_path: Path, core: str
) -> None:
    replayed_apart(folder, tmp_path, {"OPENBLAS_CORETYPE": core, "OPENBLAS_NUM_THREADS": "2"})
    assert hashes(tmp_path) == reference
