"""A command's lines become denials, whatever becomes of the command."""

from __future__ import annotations

import io
import queue
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gateway.guard.broker_log import LINE_MAX, Denial
from gateway.guard.following import LogFollower, whole_lines

WAIT_S = 20.0
LINE = "{at_s}: gannet-head.mast-3 1 #\n"


@contextmanager
def following(
    *command: str, after_s: int = 0
) -> Iterator[tuple[queue.SimpleQueue[Denial], queue.SimpleQueue[str]]]:
    denials: queue.SimpleQueue[Denial] = queue.SimpleQueue()
    losses: queue.SimpleQueue[str] = queue.SimpleQueue()
    follower = LogFollower(command, frozenset(), after_s, denials.put, losses.put)
    follower.start()
    try:
        yield denials, losses
    finally:
        follower.stop()


def test_what_was_told_before_a_restart_is_not_told_again(tmp_path: Path) -> None:
    path = tmp_path / "log"
    path.write_text("".join(LINE.format(at_s=at_s) for at_s in (5, 6, 7)), encoding="utf-8")
    with following("tail", "-n", "+1", "-F", str(path), after_s=6) as (denials, _):
        assert denials.get(timeout=WAIT_S).at_s == 7
        with path.open("a", encoding="utf-8") as more:
            more.write(LINE.format(at_s=8))
        assert denials.get(timeout=WAIT_S).at_s == 8


def test_a_command_that_ends_is_told_and_started_anew(tmp_path: Path) -> None:
    line = LINE.format(at_s=1).strip()
    with following("echo", line) as (denials, losses):
        denials.get(timeout=WAIT_S)
        assert losses.get(timeout=WAIT_S) == "echo ended with exit code 0"
        denials.get(timeout=WAIT_S)


def test_a_command_that_there_is_not_is_told() -> None:
    with following("no-such-command-here") as (_, losses):
        assert "No such file" in losses.get(timeout=WAIT_S)


def test_the_tail_of_a_line_without_end_is_never_a_line_of_its_own() -> None:
    forged = "x" * LINE_MAX + LINE.format(at_s=1)
    assert list(whole_lines(io.StringIO(forged + "next\n"))) == ["x" * LINE_MAX, "next\n"]
