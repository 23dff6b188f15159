"""The table of exit codes knows every fault that our code can raise."""

from __future__ import annotations

from importlib import import_module

import pytest

from edge.faults import EXIT_CODES, Exit, exit_code_of, line_of
from edge.wire import Refused
from tests.house.import_table import modules


def our_faults() -> list[type[BaseException]]:
    """Every exception class that a module of edge or gateway defines."""
    return [
        item
        for name in modules()
        for item in vars(import_module(name)).values()
        if isinstance(item, type) and issubclass(item, BaseException) and item.__module__ == name
    ]


def test_every_fault_of_ours_has_an_exit_code() -> None:
    unknown = [
        f"{kind.__module__}.{kind.__qualname__}"
        for kind in our_faults()
        if exit_code_of(kind.__new__(kind)) is Exit.PROGRAM_FAULT
    ]
    assert not unknown, f"no row of edge.faults.EXIT_CODES covers {unknown}"


def test_every_row_for_a_fault_of_ours_names_one_that_exists() -> None:
    ours = {f"{kind.__module__}.{kind.__qualname__}" for kind in our_faults()}
    rows = {name for name in EXIT_CODES if name.rpartition(".")[0] in modules()}
    assert rows <= ours


@pytest.mark.parametrize(
    ("fault", "code", "line"),
    [
        (Refused("body", "record body, top: wrong"), Exit.WRONG_USE, "record body, top: wrong"),
        (FileNotFoundError(2, "No such file", "a.toml"), Exit.WRONG_USE, "a.toml: No such file"),
        (
            PermissionError(13, "Permission denied", "/x"),
            Exit.OUT_OF_REACH,
            "/x: Permission denied",
        ),
        (ConnectionRefusedError(111, "refused"), Exit.OUT_OF_REACH, "refused"),
        (Refused("body", "first\n  second"), Exit.WRONG_USE, "first; second"),
    ],
)
def test_a_known_fault_becomes_its_code_and_one_line(
    fault: Exception, code: Exit, line: str
) -> None:
    assert exit_code_of(fault) is code
    assert line_of(fault) == line


def test_a_bug_says_that_it_is_one_and_where() -> None:
    try:
        assert [] == [1], "a promise\nbroken"
    except AssertionError as bug:
        line = line_of(bug)
        assert exit_code_of(bug) is Exit.PROGRAM_FAULT
    assert line.startswith("a fault of this program") and "test_faults.py:" in line
    assert "\n" not in line
