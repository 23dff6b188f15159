"""`seafret demo` from outside: two seeds, a gateway that is killed midway, and every way to end."""

from __future__ import annotations

import os
import re
import select
import signal
import socket
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from edge.faults import Exit
from gateway.alarms.journal import What
from tests.system.demo_runs import (
    PLAIN,
    RUN_S_MAX,
    Run,
    demo_words,
    journal_of,
    ports_of,
    processes_over,
    run_demo,
    told_by_the_poles,
)

UNDER_WAY = "Look on from another terminal"
"""Said once every process is ready."""


@pytest.fixture(scope="module")
def killed(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """A demo whose gateway is killed while the first insulators arc."""
    return run_demo(tmp_path_factory.mktemp("killed") / "data", 2, "--kill-gateway-at", "6")


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """A demo of another seed."""
    return run_demo(tmp_path_factory.mktemp("undisturbed") / "data", 3)


def test_a_gateway_killed_midway_changes_nothing_in_the_story(killed: Run) -> None:
    assert "the gateway was killed" in killed.output and "it was started again" in killed.output
    insulators, alarms = told_by_the_poles(killed)
    assert any(one.arcing_halfcycles for one in insulators) and alarms
    assert list(killed.story.insulators) == insulators
    assert list(killed.story.alarms) == alarms


def test_nothing_is_lost_and_the_demo_ends_well(killed: Run, undisturbed: Run) -> None:
    for run in (killed, undisturbed):
        assert (run.code, run.errors) == (Exit.FINE, "")
        assert "Nothing was lost." in run.output
        assert [one.lost for one in run.story.kept] == [0, 0]
        assert all(one.committed > 4 * run.night.minutes for one in run.story.kept)


def test_another_seed_tells_another_story(killed: Run, undisturbed: Run) -> None:
    assert killed.story.insulators != undisturbed.story.insulators
    assert killed.story.alarms != undisturbed.story.alarms


def test_the_alarm_lists_calls_are_told_as_they_come_and_all_alarms_at_the_end(
    killed: Run,
) -> None:
    live, _, summed_up = killed.output.partition("What the history files say")
    told = re.findall(r"ALARM (P\d .*?):", live)
    calls = [one for one in journal_of(killed) if one.what is What.ANNOUNCED]
    places = [one.point.subject or "the site" for one in calls]
    said = [f"P{one.priority} {place}" for one, place in zip(calls, places, strict=True)]
    assert told
    # The list may call once more between the last look and the end.
    assert sorted(told) == sorted(said[: len(told)]) and len(said) - len(told) <= 1
    for one in killed.story.alarms:
        assert f"P{one.priority} {one.insulator}" in summed_up


def test_no_line_but_a_path_is_wider_than_eighty_columns(killed: Run, undisturbed: Run) -> None:
    for run in (killed, undisturbed):
        lines = [line for line in run.output.splitlines() if line.strip() != str(run.folder)]
        assert max(len(line) for line in lines) <= 80
        assert "\r" not in run.output and "\x1b" not in run.output


def test_no_process_and_no_listener_is_left_at_the_end(killed: Run, undisturbed: Run) -> None:
    for run in (killed, undisturbed):
        assert not processes_over(run.folder)
        assert not any(answers(port) for port in ports_of(run.folder))


def test_ctrl_c_ends_every_process_and_frees_the_ports(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    with under_way(folder) as demo:
        assert len(processes_over(folder)) == 4
        demo.send_signal(signal.SIGINT)
        said, errors = demo.communicate(timeout=RUN_S_MAX)
    assert (demo.returncode, errors) == (Exit.STOPPED, "")
    assert "All processes have ended" in said
    assert not processes_over(folder)
    assert not any(answers(port) for port in ports_of(folder))


def test_a_demo_that_is_killed_takes_its_processes_along(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    with under_way(folder) as demo:
        handles = [os.pidfd_open(pid) for pid in processes_over(folder)]
        demo.kill()
        demo.communicate(timeout=RUN_S_MAX)
        try:
            for handle in handles:
                assert select.select([handle], [], [], RUN_S_MAX)[0], "it still runs"
        finally:
            for handle in handles:
                os.close(handle)
    assert len(handles) == 4


def test_a_folder_that_holds_something_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("kept")
    run = run_demo(tmp_path, 2)
    assert run.code == Exit.WRONG_USE
    assert len(run.errors.splitlines()) == 1 and "not empty" in run.errors
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


@contextmanager
def under_way(folder: Path) -> Iterator[subprocess.Popen[str]]:
    """A demo whose processes are all ready; killed afterwards if it still runs."""
    with subprocess.Popen(
        demo_words(folder, 2),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=PLAIN,
    ) as demo:
        assert demo.stdout is not None
        try:
            assert any(UNDER_WAY in line for line in demo.stdout), "it ended before it began"
            yield demo
        finally:
            demo.kill()


def answers(port: int) -> bool:
    """Whether something still listens there."""
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0
