"""Disks that are full, and calls that fail once, under unit and gateway."""

from __future__ import annotations

import subprocess
import time
from collections import Counter
from pathlib import Path

import pytest

from tests.broker import Broker
from tests.campaigns.cutting import HISTORY_SCRIPT, UNIT_SCRIPT, Run, history_run, is_kept, unit_run
from tests.campaigns.trial import Trial
from tests.edge.keep.disk import run_watched

COMMITS = 8
FAILURES = 4
FULL_TIMES, LONG_FULL_TIMES = 3, 100
RATE = 200
FULL_S_MAX = 5.0


def filled(folder: Path, broker: Broker, shim: Path, times: int) -> None:
    """Each time one disk, then the other, takes nothing more for a while; nobody helps."""
    options = ("--rate", str(RATE))
    with Trial(folder, broker, unit=options, shim=shim) as trial:
        trial.start_gateway()
        trial.start_unit()
        trial.await_told(lambda told: told.receipted() > 0)
        for _ in range(times):
            fill(trial, "gateway")
            fill(trial, "unit")
        found = trial.finish(wait_s=200)
        said = trial.said("gateway") + trial.said("unit")
    print(trial.figures(found))
    assert found.is_accounted_for(), found  # routine rows may give way, and say so
    assert found.reasons <= {"storage-quota"}
    assert "nothing is receipted" in said, "the gateway's disk was never full"


def fill(trial: Trial, name: str) -> None:
    """Full until the process has felt it (the gateway stores no more, the unit commits no more), or
    for FULL_S_MAX: within its own files there may be room for a while."""
    trial.note_fault(f"{name} full")
    until = time.monotonic() + FULL_S_MAX
    felt = trial.said("gateway").count("nothing is receipted")
    trial.is_full(name).touch()
    trial.await_told(
        lambda told: (
            time.monotonic() > until
            or (name == "unit" and told.waiting > RATE // 2)
            or (name == "gateway" and trial.said(name).count("nothing is receipted") > felt)
        )
    )
    trial.is_full(name).unlink()
    trial.await_told(lambda told: told.waiting < RATE // 2, wait_s=60)


def test_full_disks_of_unit_and_gateway_delay_or_cost_what_loss_records_name(
    tmp_path: Path, broker: Broker, shim: Path
) -> None:
    filled(tmp_path, broker, shim, FULL_TIMES)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_disks_that_are_full_a_hundred_times_cost_only_what_loss_records_name(
    tmp_path: Path, broker: Broker, shim: Path
) -> None:
    filled(tmp_path, broker, shim, LONG_FULL_TIMES)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_a_real_file_system_that_fills_up_costs_only_what_loss_records_name(
    tmp_path: Path, broker: Broker
) -> None:
    """A small tmpfs for the unit's folder; needs the right to mount."""
    options = ("--until", "3000", "--rate", str(RATE))
    with Trial(tmp_path, broker, unit=options) as trial:
        mount = ["mount", "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(trial.unit_folder)]
        subprocess.run(mount, check=True)
        try:
            trial.start_gateway()
            trial.start_unit()
            trial.await_told(lambda told: told.receipted() > 0)
            for number in range(5):
                others, until = trial.unit_folder / f"others-{number}", 500 * (number + 1)
                fill_up(others)
                trial.await_told(lambda told, at=until: told.made >= at or told.waiting > RATE)  # type: ignore[misc]
                others.unlink()
            found = trial.finish(3000, wait_s=120)
        finally:
            if trial.is_running("unit"):
                trial.end("unit")
            subprocess.run(["umount", str(trial.unit_folder)], check=True)
    print(trial.figures(found))
    assert found.is_accounted_for(), found


def fill_up(path: Path) -> None:
    """Write until the file system takes no more."""
    with path.open("wb", buffering=0) as file:
        try:
            while file.write(bytes(4096)):
                pass
        except OSError:
            return


@pytest.fixture(scope="module")
def runs(shim: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Run]:
    folder = tmp_path_factory.mktemp("runs")
    return {
        UNIT_SCRIPT: unit_run(shim, folder / "unit", "careful", COMMITS),
        HISTORY_SCRIPT: history_run(shim, folder / "history", "careful", COMMITS),
    }


@pytest.mark.parametrize("errno", [5, 28], ids=["EIO", "ENOSPC"])
@pytest.mark.parametrize("script", [UNIT_SCRIPT, HISTORY_SCRIPT])
def test_a_call_that_fails_once_is_never_taken_for_a_commit(
    shim: Path, runs: dict[str, Run], tmp_path: Path, script: str, errno: int
) -> None:
    run = runs[script]
    fail_once(shim, run, tmp_path, script, errno, range(2, run.calls(), run.calls() // FAILURES))


@pytest.mark.long
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("errno", [5, 28], ids=["EIO", "ENOSPC"])
@pytest.mark.parametrize("script", [UNIT_SCRIPT, HISTORY_SCRIPT])
def test_each_call_that_fails_once_is_never_taken_for_a_commit(
    shim: Path, runs: dict[str, Run], tmp_path: Path, script: str, errno: int
) -> None:
    run = runs[script]
    fail_once(shim, run, tmp_path, script, errno, range(1, run.calls() + 1))


def fail_once(shim: Path, run: Run, folder: Path, script: str, errno: int, calls: range) -> None:
    """One write or sync fails; what was told is held, and the files take more.

    A unit whose file can no longer be relied upon says so and ends: its service starts it anew.
    """
    tries: Counter[int] = Counter()
    anew = 0
    for call in calls:
        (data := folder / str(call)).mkdir()
        arguments = (str(COMMITS),) if script == HISTORY_SCRIPT else ("careful", str(COMMITS))
        fault = {"DISK_FAIL_AT": str(call), "DISK_FAIL_WITH": str(errno)}
        done = run_watched(shim, data, [script, str(data), *arguments], **fault)
        assert done.returncode == 0, (call, done.stderr)
        ended = script == UNIT_SCRIPT and done.stdout.endswith("open the file anew\n")
        assert ended or done.stdout == f"done {COMMITS}\n", (call, done.stdout)
        anew += ended
        tries[done.stderr.count("once more")] += 1
        content = (data / "told").read_bytes()
        files = {path.name: path.read_bytes() for path in data.iterdir() if path.is_file()}
        found = run.look(folder / f"{call}-after", files, int(content or 0))
        assert is_kept(found), (call, found)
    print(
        f"{script}, errno {errno}: {len(calls)} failures, all kept; tried again: {dict(tries)}, "
        f"started anew: {anew}"
    )
