"""Work given to several processes: in order, whole, and whatever dies."""

from __future__ import annotations

import json
import multiprocessing
from pathlib import Path

import pytest

from gateway.replay.site_run import decide_site
from gateway.replay.spreading import OwnProcesses, ThisProcess, WorkersLost
from tests.gateway.commands.running import seafret
from tests.gateway.replay.on_cluster import requests_of
from tests.gateway.replay.tasks import Losing, dies, dies_once, doubled, fails
from tests.gateway.replay.units import COUNT, SITE, tree, write_units


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_units(tmp_path_factory.mktemp("units") / "history")


def kill_one() -> None:
    multiprocessing.active_children()[0].kill()


def test_results_come_in_the_order_of_their_tasks_whoever_is_lost(tmp_path: Path) -> None:
    tasks = [(number, str(tmp_path)) for number in range(7)]
    with OwnProcesses(2) as workers:
        found = list(workers.results(dies_once, tasks))
        assert list(workers.results(doubled, range(5))) == [0, 2, 4, 6, 8]
        with pytest.raises(ValueError, match="task 1 is at fault"):
            list(workers.results(fails, [1]))
    assert [number for number, _ in found] == [2 * number for number in range(7)]
    assert [number for number, (_, elsewhere) in enumerate(found) if elsewhere] == [0, 3, 6]


def test_a_task_that_kills_whoever_takes_it_ends_the_run_in_words() -> None:
    with OwnProcesses(1) as workers, pytest.raises(WorkersLost, match="each of them died"):
        list(workers.results(dies, [1]))


def test_every_unit_has_the_bytes_of_its_own_run_with_a_process_lost_on_the_way(
    data: Path, tmp_path: Path
) -> None:
    decide_site(ThisProcess(), data, requests_of(data), tmp_path / "one")
    with OwnProcesses(2) as workers:
        decide_site(Losing(workers, kill_one), data, requests_of(data), tmp_path / "two")
    one = tree(tmp_path / "one")
    assert len(one) == 3 * COUNT + 1 and one == tree(tmp_path / "two")
    options = ("--site", SITE, "--data", data, "--unit", f"{SITE}.m3")
    assert seafret("replay", "--out", tmp_path / "m3", *options).code == 0
    assert tree(tmp_path / "m3") == tree(tmp_path / "one" / f"{SITE}.m3")
    ran = seafret("verify", tmp_path / "one" / f"{SITE}.m3", "--data", data)
    assert ran.code == 0


def test_units_that_are_done_are_not_done_again_after_a_stop(data: Path, tmp_path: Path) -> None:
    class Stopped(Exception):
        pass

    def stop() -> None:
        raise Stopped

    with pytest.raises(Stopped):
        decide_site(Losing(ThisProcess(), stop), data, requests_of(data), tmp_path / "cut")
    events = tmp_path / "cut" / f"{SITE}.m0" / "events.jsonl"
    events.write_bytes(b"told by the first run\n")
    decide_site(ThisProcess(), data, requests_of(data), tmp_path / "cut")
    assert events.read_bytes() == b"told by the first run\n"
    assert len(json.loads((tmp_path / "cut" / "units.json").read_text())) == COUNT
    assert not (tmp_path / "cut" / "progress.json").exists()


def test_the_command_decides_on_every_unit(data: Path, tmp_path: Path) -> None:
    options = ("--site", SITE, "--data", data, "--every-unit", "--to", "2026-11-24T01:00:00Z")
    ran = seafret("replay", "--out", tmp_path / "out", *options)
    assert ran.code == 0 and ran.said[-1].startswith(f"{COUNT} units: ")
    assert len(ran.said) == COUNT + 1
