"""Cut at any moment and gone on with; answers from a file; a state that cannot be believed."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from edge import __main__ as command_line
from edge.commissioning.asking import (
    AnswerRefused,
    Kind,
    Place,
    Question,
    Sheet,
    Terminal,
    checked,
)
from edge.commissioning.journal import STATE_FILE, Journal, JournalRefused, load, save, with_outcome
from edge.commissioning.outcome import Outcome, Reading, Verdict, outcome_of, outcome_plain
from edge.commissioning.standing import WITNESS_FILE, content_sha
from edge.commissioning.table import STEPS
from tests.edge.commissioning import rig
from tests.edge.daemon.launching import ROOT
from tests.edge.sense.link_builders import Terminal as SilentTerminal

PEOPLE = '[people]\nfitter = "R. Dunlin"\nwitness = "K. Sanderling"\n'
INSTRUMENTS = """[instruments]
ammeter = "bench ammeter 4711"
ammeter_calibrated = 2026-05-04
ammeter_due = 2099-05-04
conductivity_meter = "pen meter 12"
conductivity_meter_calibrated = 2026-05-04
conductivity_meter_due = 2099-05-04
"""
NOISE = f'[noise."{rig.PLATE}"]\n'


def prepared(folder: Path, answers: str) -> list[str]:
    """Arguments of the command in a folder with settings and answers; nobody holds the port."""
    (folder / "edge.toml").write_text(rig.settings_text(folder, 1))
    (folder / "answers.toml").write_text(answers)
    files = ["--settings", str(folder / "edge.toml"), "--answers", str(folder / "answers.toml")]
    return ["commission", *files]


def verdicts(out: str) -> dict[str, str]:
    words = [line.split(maxsplit=1) for line in out.splitlines()]
    steps = {one.id for one in STEPS}
    return {
        one[1].split()[0]: one[0]
        for one in words
        if len(one) == 2 and one[0] in list(Verdict) and one[1].split()[0] in steps
    }


def test_a_commissioning_killed_in_a_step_goes_on_at_that_step(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = prepared(tmp_path, PEOPLE + INSTRUMENTS + NOISE)
    silent = SilentTerminal(tmp_path / "port")  # so that the step about the noise has to wait
    command = [sys.executable, "-m", "edge", *arguments]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if "Make sure that no current flows" in line:
                break
        process.send_signal(signal.SIGKILL)
    silent.unplug()
    plain = rig.written(tmp_path, STATE_FILE)
    assert [one[0] for one in plain["begun"]] == ["noise"]
    assert not (tmp_path / "data" / WITNESS_FILE).exists()
    assert command_line.main([*arguments, "--list"]) == 10
    found = verdicts(capsys.readouterr().out)
    assert found["people"] == found["instruments"] == "passed" and found["noise"] == "blank"
    (tmp_path / "answers.toml").write_text("[clock]\n")
    command_line.main(arguments)
    again = capsys.readouterr().out
    assert "[people]" not in again and "[clock]" in again


def test_answers_that_cannot_be_are_refused_with_file_step_and_key(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for answers, words in (
        (INSTRUMENTS.replace("2099-05-04", '"soon"', 1), "answers.toml: instruments: ammeter_due"),
        ("[gian]\n", "gian is no step; there are people, instruments"),
        ("[people", "mend the TOML"),
    ):
        assert command_line.main(prepared(tmp_path, answers)) == 64
        assert words in capsys.readouterr().err


def test_a_step_that_there_is_not_cannot_be_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command_line.main([*prepared(tmp_path, PEOPLE), "--step", "gian"]) == 64
    assert "--step gian is no step" in capsys.readouterr().err


def test_begun_anew_is_out_of_service_and_what_was_there_is_put_aside(tmp_path: Path) -> None:
    arguments = prepared(tmp_path, PEOPLE)
    assert command_line.main(arguments) == 10
    assert command_line.main([*arguments, "--anew", "--list"]) == 10
    names = {one.name.partition(".json")[0] for one in (tmp_path / "data").iterdir()}
    assert names == {"commissioning", "commissioning-witness", "commissioning-witness.pdf"}
    assert not (tmp_path / "data" / STATE_FILE).exists()


def test_a_state_of_other_sensors_or_one_that_was_changed_is_refused(tmp_path: Path) -> None:
    save(Journal(unit="a.b", subject_sha="0" * 16, begun_us=5), tmp_path)
    assert load(tmp_path, "a.b", "0" * 16, 9).begun_us == 5
    for unit, sha in (("a.c", "0" * 16), ("a.b", "1" * 16)):
        with pytest.raises(JournalRefused, match="the sensors in the settings have changed"):
            load(tmp_path, unit, sha, 9)
    path = tmp_path / STATE_FILE
    plain = json.loads(path.read_text())
    path.write_text(json.dumps({**plain, "outcomes": [["noise", "", {}]]}))
    with pytest.raises(JournalRefused, match="begin with --anew"):
        load(tmp_path, "a.b", "0" * 16, 9)
    path.write_text("{")
    with pytest.raises(JournalRefused, match="cannot be read"):
        load(tmp_path, "a.b", "0" * 16, 9)


def test_an_outcome_is_the_same_after_a_save(tmp_path: Path) -> None:
    outcome = Outcome(
        readings=(Reading(name="n", figure=1.25, unit="mA", high=2.0), Reading(name="m", figure=3)),
        entered={"plate": "GS-7"},
        missing=("x",),
        note="as seen",
        at_us=7,
    )
    assert outcome_of(json.loads(json.dumps(outcome_plain(outcome)))) == outcome
    journal = Journal(unit="a.b", subject_sha="0" * 16, begun_us=5)
    journal = with_outcome(journal, Place("gain", "GS-7"), outcome)
    save(journal, tmp_path)
    assert load(tmp_path, "a.b", "0" * 16, 9) == journal


@pytest.mark.parametrize(
    ("figure", "low", "high", "holds"),
    [
        (1.0, 1.0, 1.0, True),
        (0.999, 1.0, None, False),
        (2.0, None, 1.0, False),
        (float("nan"), 0.0, None, False),
        (float("nan"), None, 1.0, False),
        (5.0, None, None, True),
    ],
)
def test_a_reading_holds_within_its_limits_only(
    figure: float, low: float | None, high: float | None, holds: bool
) -> None:
    reading = Reading(name="n", figure=figure, low=low, high=high)
    assert reading.holds is holds
    assert reading.line().startswith("ok" if holds else "FAULT")


def test_somebody_at_the_terminal_is_asked_again_until_the_answer_can_be_one(
    capsys: pytest.CaptureFixture[str],
) -> None:
    lines = iter(["much", "-3", "12,5", "", "n"])
    person = Terminal(lambda prompt: next(lines))
    question = Question("injected_ma", "current", Kind.NUMBER, "12.5")
    place = Place("gain", "GS-7")
    assert person.ask(place, question) == "12.5"
    assert capsys.readouterr().out.count("a number above 0") == 2
    assert person.ask(place, question) == "" and not person.act(place, "do it")


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        (Kind.NUMBER, "nan"),
        (Kind.NUMBER, "0"),
        (Kind.DATE, "4.5.2026"),
        (Kind.YES, "perhaps"),
        (Kind.TEXT, "x" * 201),
        (Kind.TEXT, "a\x07b"),
    ],
)
def test_an_answer_that_is_none_is_refused_with_its_key(kind: Kind, text: str) -> None:
    with pytest.raises(AnswerRefused, match="the_key"):
        checked(Question("the_key", "?", kind), text)


def test_a_sheet_answers_for_the_steps_that_it_names() -> None:
    sheet = Sheet({"gain": {"GS-7": {"injected_1_ma": 2.5}}, "people": {"fitter": "A"}}, "a.toml")
    assert sheet.wants(Place("gain", "GS-7")) and not sheet.wants(Place("gain", "GS-8"))
    assert sheet.wants(Place("people")) and not sheet.wants(Place("clock"))
    number = Question("injected_1_ma", "current", Kind.NUMBER)
    assert sheet.ask(Place("gain", "GS-7"), number) == "2.5"
    assert sheet.ask(Place("people"), Question("witness", "who")) == ""


def test_a_hash_is_over_everything_but_itself() -> None:
    plain = {"a": 1, "b": [2.5, None]}
    assert content_sha(plain) == content_sha({**plain, "sha256": "x"})
    assert content_sha(plain) != content_sha({**plain, "c": ""})
