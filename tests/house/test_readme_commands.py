"""What README tells a newcomer to type is there, and CI types the same."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from tests.house.measures import TOP

COMMANDS = ("bash deploy/demo.sh", "bash tests/run.sh")
SCRIPTS = tuple(
    path.relative_to(TOP) for folder in ("deploy", "tests") for path in (TOP / folder).glob("*.sh")
)


@pytest.mark.parametrize("command", COMMANDS)
def test_readme_shows_the_command_on_a_line_of_its_own(command: str) -> None:
    lines = [line.strip() for line in (TOP / "README.md").read_text(encoding="utf-8").splitlines()]
    assert command in lines
    assert (TOP / command.split()[1]).is_file()


def test_ci_runs_the_test_command_of_readme_and_nothing_else() -> None:
    lines = (TOP / ".ci/run").read_text(encoding="utf-8").splitlines()
    code = [line for line in lines if line.strip() and not line.startswith("#")]
    assert code == ["exec bash tests/run.sh"]


@pytest.mark.parametrize("script", SCRIPTS, ids=str)
def test_every_shell_script_can_be_read_by_bash(script: Path) -> None:
    read = subprocess.run(["bash", "-n", script], cwd=TOP, capture_output=True, text=True)
    assert read.returncode == 0 and not read.stderr


def test_what_the_commands_leave_behind_is_ignored_by_git() -> None:
    ignored = (TOP / ".gitignore").read_text(encoding="utf-8").splitlines()
    assert ".seafret/" in ignored
