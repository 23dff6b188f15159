"""`seafret-edge` as a fitter meets it: help at once, one line for every fault, the right code."""

from __future__ import annotations

from importlib.util import find_spec

import pytest

from edge import __main__ as command_line

WIDTH_MAX = 80


@pytest.mark.parametrize("name", ["", *command_line.COMMANDS])
def test_help_shows_an_example_within_eighty_columns(
    name: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(WIDTH_MAX))
    with pytest.raises(SystemExit) as ended:
        command_line.main([*([name] if name else []), "--help"])
    shown = capsys.readouterr().out
    assert ended.value.code == 0 and "example: seafret-edge" in shown
    assert max(len(line) for line in shown.splitlines()) <= WIDTH_MAX


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "COMMAND"),
        (["run"], "--settings"),
        (["no-such-command"], "invalid choice"),
        (["record", "--settings", "a", "--seconds", "0", "--out", "b.cfg"], "above 0"),
        (["record", "--settings", "a", "--seconds", "nan", "--out", "b.cfg"], "above 0"),
        (["record", "--settings", "a", "--seconds", "5 min", "--out", "b.cfg"], "above 0"),
    ],
)
def test_wrong_use_is_one_line_that_points_to_the_help(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        command_line.main(arguments)
    said = capsys.readouterr()
    assert ended.value.code == 64
    assert not said.out and len(said.err.splitlines()) == 1
    assert words in said.err and "--help" in said.err


@pytest.mark.parametrize("name", list(command_line.COMMANDS))
def test_a_command_is_loaded_or_is_not_in_this_version(name: str) -> None:
    row = command_line.COMMANDS[name]
    function = command_line.load(row)
    assert (function is None) == (find_spec(row.module) is None)
    assert function is None or callable(function)


def test_a_command_whose_own_import_fails_is_not_called_absent() -> None:
    row = command_line.Command("edge.no_such_package.daemon", "run", "", "")
    with pytest.raises(ModuleNotFoundError):
        command_line.load(row)


def test_the_version_is_told_without_being_installed(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        command_line.main(["--version"])
    assert ended.value.code == 0
    assert capsys.readouterr().out.startswith("seafret 0.")
