"""Golden values change by an explicit command with a reason, and by nothing else."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.replay.expectation import (
    Golden,
    Refreshed,
    expectation_text,
    read_expectation,
    with_golden,
)
from tests.replay.refresh import main, refresh
from tests.replay.shelf import EXPECTATION, SHELF, expectations

NAME = "third_harmonic_wet_50hz"
REASON = "a trial of the command, in a folder of its own"


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    for path in SHELF.glob(f"{NAME}*"):
        shutil.copy(path, tmp_path)
    path = tmp_path / f"{NAME}{EXPECTATION}"
    with_golden(
        path, Golden({"windows.csv": "0" * 64}, (Refreshed("an older reason", "seafret 0"),))
    )
    return tmp_path


def test_a_refresh_keeps_its_reason_the_software_and_those_before(shelf: Path) -> None:
    path = shelf / f"{NAME}{EXPECTATION}"
    before = path.read_text(encoding="utf-8").partition("[golden]")[0]
    assert refresh(NAME, REASON, shelf) == []
    golden = read_expectation(path).golden
    assert golden is not None
    assert [one.reason for one in golden.history] == ["an older reason", REASON]
    assert golden.history[-1].software.startswith("seafret 0.")
    assert set(golden.digests) == {"windows.csv", "intervals.csv", "events.jsonl"}
    assert path.read_text(encoding="utf-8").partition("[golden]")[0] == before


def test_a_refresh_that_changes_nothing_leaves_no_reason(shelf: Path) -> None:
    refresh(NAME, REASON, shelf)
    text = (shelf / f"{NAME}{EXPECTATION}").read_text(encoding="utf-8")
    assert refresh(NAME, "another reason for the same digests", shelf) == []
    assert (shelf / f"{NAME}{EXPECTATION}").read_text(encoding="utf-8") == text


def test_digests_of_a_result_against_the_facts_are_not_taken(shelf: Path) -> None:
    path = shelf / f"{NAME}{EXPECTATION}"
    text = path.read_text(encoding="utf-8").replace("\narcing = 0\n", "\narcing = 50\n")
    path.write_text(text, encoding="utf-8")
    assert "arcing_halfcycles is 0" in refresh(NAME, REASON, shelf)[0]
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize(
    "arguments",
    [[NAME], [NAME, "--reason", "because"], ["--reason", REASON], ["x", "--reason", REASON]],
)
def test_the_command_refuses_without_name_or_a_reason_worth_reading(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as caught:
        main(arguments)
    assert caught.value.code == 2
    assert "usage" in capsys.readouterr().err


@pytest.mark.parametrize("name", expectations())
def test_an_expectation_comes_back_from_its_own_text(name: str) -> None:
    text = expectations()[name].read_text(encoding="utf-8")
    assert expectation_text(read_expectation(expectations()[name])) == text
