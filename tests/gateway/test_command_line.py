"""`seafret` as a person meets it: help at once, one line for every fault, the right exit code."""

from __future__ import annotations

import os
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import click
import pytest

from gateway import __main__ as command_line
from gateway.commands.group import seafret
from gateway.commands.table import COMMANDS, MODULE

WIDTH_MAX = 80
PACKAGE = "gateway.commands"
TOP = Path(command_line.__file__).resolve().parent.parent


def context() -> click.Context:
    return click.Context(seafret)


def test_help_lists_exactly_the_commands_that_are_there(capsys: pytest.CaptureFixture[str]) -> None:
    assert command_line.main(["--help"]) == 0
    shown = capsys.readouterr().out
    here = Path(command_line.__file__).parent / "commands"
    for name, meaning in COMMANDS.items():
        assert (meaning in shown) == (here / f"{name.replace('-', '_')}.py").exists()
    assert max(len(line) for line in shown.splitlines()) <= WIDTH_MAX


def test_help_imports_no_command_at_all() -> None:
    source = (
        "import sys; from gateway.__main__ import main; main(['--help'])\n"
        "print([m for m in sys.modules if m.startswith('gateway.commands.')], file=sys.stderr)"
    )
    ran = subprocess.run([sys.executable, "-c", source], capture_output=True, text=True, check=True)
    assert ran.stderr.strip() == "['gateway.commands.table', 'gateway.commands.group']"


def test_every_command_module_is_in_the_table() -> None:
    here = Path(command_line.__file__).parent / "commands"
    modules = {path.stem for path in here.glob("*.py")}
    with_command = {
        name.replace("_", "-")
        for name in modules
        if hasattr(import_module(f"{PACKAGE}.{name}"), "command")
    }
    assert with_command and with_command <= COMMANDS.keys()


def test_every_command_has_help_with_an_example_within_eighty_columns() -> None:
    for name in seafret.list_commands(context()):
        command = seafret.get_command(context(), name)
        assert command is not None, MODULE.format(name=name)
        text = command.get_help(click.Context(command, info_name=f"seafret {name}"))
        assert "example" in text.lower() and f"seafret {name}" in text, name
        assert max(len(line) for line in text.splitlines()) <= WIDTH_MAX, name


@pytest.mark.parametrize(
    "arguments", [[], ["no-such-command"], ["--no-such-option"]], ids=["nothing", "word", "option"]
)
def test_wrong_use_is_one_line_that_points_to_the_help(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert command_line.main(arguments) == 64
    said = capsys.readouterr()
    assert not said.out and len(said.err.splitlines()) == 1
    assert said.err.startswith("seafret: ") and "see seafret --help" in said.err


def test_a_command_of_a_later_version_is_out_of_reach(capsys: pytest.CaptureFixture[str]) -> None:
    assert command_line.absent(["report"], ["demo"])
    assert not command_line.absent(["demo"], ["demo"])
    assert not command_line.absent(["no-such-command"], ["demo"])
    assert not command_line.absent([], ["demo"])


@pytest.mark.parametrize(
    ("fault", "code", "words"),
    [
        (ModuleNotFoundError(name="scipy.signal"), 69, "pip install 'seafret[gateway]'"),
        (ModuleNotFoundError(name="psycopg"), 69, "pip install 'seafret[postgres]'"),
        (ModuleNotFoundError(name="gateway.history.lost"), 70, "a fault of this program"),
        (KeyError("x"), 70, "a fault of this program"),
        (TimeoutError("broker did not answer"), 69, "broker did not answer"),
    ],
)
def test_what_a_command_raises_becomes_a_line_and_a_code(
    fault: Exception, code: int, words: str
) -> None:
    found, line = command_line.verdict(fault)
    assert found == code and words in line


def test_the_version_is_told_without_being_installed(capsys: pytest.CaptureFixture[str]) -> None:
    assert command_line.main(["--version"]) == 0
    assert capsys.readouterr().out.startswith("seafret 0.")


def test_a_reader_that_has_left_is_no_fault() -> None:
    reading_end, writing_end = os.pipe()
    os.close(reading_end)
    with os.fdopen(writing_end, "wb") as output:
        command = [sys.executable, "-m", "gateway", "--help"]
        ran = subprocess.run(command, cwd=TOP, stdout=output, stderr=subprocess.PIPE, check=False)
    assert ran.returncode == 0 and not ran.stderr
