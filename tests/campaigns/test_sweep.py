"""Killed at every single write and sync: the unit's durable file, and the gateway's history."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.campaigns.cutting import (
    HISTORY_SCRIPT,
    UNIT_SCRIPT,
    Run,
    history_run,
    is_kept,
    kills,
    power_cuts,
    unit_run,
    where_it_fell,
)
from tests.edge.keep.disk import run_watched

COMMITS, HISTORY_COMMITS = 12, 8
CUTS, LONG_CUTS = 1000, 10_000
HISTORY_CUTS, LONG_HISTORY_CUTS = 150, 3000
REAL_KILLS = 8


@pytest.fixture(scope="module")
def unit(shim: Path, tmp_path_factory: pytest.TempPathFactory) -> Run:
    return unit_run(shim, tmp_path_factory.mktemp("unit") / "run", "careful", COMMITS)


@pytest.fixture(scope="module")
def history(shim: Path, tmp_path_factory: pytest.TempPathFactory) -> Run:
    return history_run(shim, tmp_path_factory.mktemp("history") / "run", "careful", HISTORY_COMMITS)


def test_killed_at_every_write_and_sync_the_unit_keeps_what_it_told(
    unit: Run, memory: Path
) -> None:
    found = list(kills(unit, memory))
    print(f"unit: {len(found)} kills, {where_it_fell(found)}")
    assert [one for one in found if not is_kept(one)] == []
    assert {one.new_epoch for one in found} == {""}
    assert all(where_it_fell(found).values())


def test_killed_at_every_write_and_sync_the_history_keeps_what_it_told(
    history: Run, memory: Path
) -> None:
    found = list(kills(history, memory))
    print(f"history: {len(found)} kills, {where_it_fell(found)}")
    assert [one for one in found if not is_kept(one)] == []
    assert all(where_it_fell(found).values())


def test_the_twin_that_saves_its_state_apart_fails_the_sweep(
    shim: Path, tmp_path: Path, memory: Path
) -> None:
    run = unit_run(shim, tmp_path / "twin", "state-apart", 6)
    assert any(one.state != one.held for one in kills(run, memory))


@pytest.mark.parametrize("script", [UNIT_SCRIPT, HISTORY_SCRIPT])
def test_a_process_really_killed_at_a_call_leaves_what_the_model_says(
    shim: Path, unit: Run, history: Run, tmp_path: Path, script: str
) -> None:
    run = unit if script == UNIT_SCRIPT else history
    calls = range(run.calls() // 3, run.calls(), run.calls() // REAL_KILLS)
    really_killed(shim, run, tmp_path, script, calls)


@pytest.mark.long
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("script", [UNIT_SCRIPT, HISTORY_SCRIPT])
def test_a_process_really_killed_at_each_call_keeps_what_it_told(
    shim: Path, unit: Run, history: Run, tmp_path: Path, script: str
) -> None:
    run = unit if script == UNIT_SCRIPT else history
    really_killed(shim, run, tmp_path, script, range(1, run.calls() + 1))


def really_killed(shim: Path, run: Run, folder: Path, script: str, calls: range) -> None:
    """SIGKILL at these calls, each in a run of its own; also while the files are being made."""
    for call in calls:
        (data := folder / str(call)).mkdir()
        of_history = script == HISTORY_SCRIPT
        arguments = (str(HISTORY_COMMITS),) if of_history else ("careful", str(COMMITS))
        done = run_watched(shim, data, [script, str(data), *arguments], DISK_KILL_AT=str(call))
        assert done.returncode == -9, done.stderr
        content = (data / "told").read_bytes() if (data / "told").exists() else b""
        files = {path.name: path.read_bytes() for path in data.iterdir() if path.is_file()}
        found = run.look(folder / f"{call}-after", files, int(content or 0))
        assert is_kept(found), (call, found)
    print(f"{script}: {len(calls)} real kills, all kept")


def test_a_thousand_power_cuts_cost_the_unit_nothing_that_it_told(unit: Run, memory: Path) -> None:
    cut(unit, memory, CUTS, seed=1)


def test_power_cuts_cost_the_history_nothing_that_it_told(history: Run, memory: Path) -> None:
    cut(history, memory, HISTORY_CUTS, seed=2)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_ten_thousand_power_cuts_cost_the_unit_nothing_that_it_told(
    unit: Run, memory: Path
) -> None:
    cut(unit, memory, LONG_CUTS, seed=3)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_three_thousand_power_cuts_cost_the_history_nothing(history: Run, memory: Path) -> None:
    cut(history, memory, LONG_HISTORY_CUTS, seed=4)


def cut(run: Run, memory: Path, cuts: int, seed: int) -> None:
    found = list(power_cuts(run, memory, cuts, seed))
    print(f"{cuts} power cuts: {where_it_fell(found)}")
    assert [one for one in found if not is_kept(one)] == []
    assert {one.new_epoch for one in found} == {""}
    assert all(where_it_fell(found).values())


@pytest.mark.parametrize("make", [unit_run, history_run])
def test_the_twin_that_does_not_wait_for_the_disk_fails_the_power_cuts(
    shim: Path, tmp_path: Path, memory: Path, make: type[Run]
) -> None:
    run = make(shim, tmp_path / "twin", "normal", COMMITS)  # type: ignore[arg-type, call-arg]
    found = list(power_cuts(run, memory, 60, seed=5))
    assert any(one.held < one.told for one in found)
