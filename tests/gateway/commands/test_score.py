"""`seafret score` as a person starts it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from gateway.alarms.actions import Answer
from gateway.alarms.journal import entry_line
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import JournalLine
from tests.gateway.alarms.build import Story, point
from tests.gateway.commands.running import Ran, seafret
from tests.gateway.replay.told import clock, label_line, labels_text, occurrence, result


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Ten hours of two insulators: one event told early, one missed, one false alarm in a wash."""
    alarms = [occurrence(100, 130), occurrence(400, 420, subject="A2")]
    return result(tmp_path / "run", alarms, minutes=600)


LABELS = (
    label_line(110, 120),
    label_line(300, 310, subject="A2"),
    label_line(390, 430, "wash", "A2"),
)


def score(folder: Path, *lines: str, options: tuple[object, ...] = ()) -> Ran:
    path = folder.parent / "labels.csv"
    path.write_text(labels_text(*lines))
    return seafret("score", folder, "--labels", path, *options)


def test_a_score_tells_figures_and_names_what_was_missed_and_false(folder: Path) -> None:
    ran = score(folder, *LABELS)
    assert (ran.code, ran.said) == (0, [])
    told = " ".join(ran.printed.split())
    assert "events told (recall) 1/2 50.0% 1.3%..98.7%" in told
    assert "alarms that tell one (precision) 1/2 50.0%" in told
    assert "all 1 600 600 600 600" in told
    assert "missed: 1" in told and "A2, label line 3" in told
    assert "A2, during wash" in told
    assert "only 2 events" in told
    body = [line for line in ran.printed.splitlines() if line != str(folder)]
    assert max(map(len, body)) <= 80


def test_json_carries_what_the_result_rests_on(folder: Path) -> None:
    told = json.loads(score(folder, *LABELS, options=("--json",)).printed)
    assert told["run"]["settings_sha"] == "0123456789abcdef"
    assert told["run"]["inputs"] == {"night.cfg": "aa"}
    assert told["labels"]["versions"] == ["1"] and len(told["labels"]["sha"]) == 16
    assert told["rules"]["before_s"] == 3600 and told["rules"]["after_s"] == 900
    assert told["figures"]["recall"]["count"] == told["figures"]["precision"]["count"] == 1
    assert [one["verdict"] for one in told["events"]] == ["told", "missed"]
    assert told["watched_s"] == {"A1": 36_000, "A2": 36_000}
    assert told["answers"] is None


def test_windows_periods_and_insulators_can_be_chosen(folder: Path) -> None:
    def counts(*options: object) -> tuple[int, int]:
        ran = score(folder, *LABELS, options=("--json", *options))
        recall = json.loads(ran.printed)["figures"]["recall"]
        return recall["count"], recall["of"]

    assert counts("--before", "9min") == (0, 2)
    assert counts("--from", clock(200)) == (0, 1)
    assert counts("--to", clock(200)) == (1, 1)
    assert counts("--insulator", "A1") == (1, 1)
    assert counts("--kind", "sensor-fault") == (0, 0)


def test_tuning_and_scoring_on_the_same_time_is_refused_unless_forced(folder: Path) -> None:
    lines = (*LABELS, label_line(0, 200, "tuned-on", ""))
    ran = score(folder, *lines)
    assert (ran.code, ran.printed) == (64, "")
    assert "were tuned on part of the period" in ran.said[0] and "--force" in ran.said[0]
    forced = score(folder, *lines, options=("--force",))
    assert forced.code == 0 and "FORCED" in forced.printed
    assert score(folder, *lines, options=("--from", clock(200))).code == 0


def test_a_run_can_say_itself_what_it_was_tuned_on(tmp_path: Path) -> None:
    tuned_on = [{"from": clock(0), "to": clock(30)}]
    folder = result(tmp_path / "run", tuned_on=tuned_on)
    assert score(folder, *LABELS[:1]).code == 64
    assert score(folder, *LABELS[:1], options=("--from", clock(30))).code == 0


@pytest.mark.parametrize(
    ("line", "options", "words"),
    [
        (label_line(1, 2, subject="A7"), (), "line 2: subject 'A7'"),
        (LABELS[0] + "\n" + label_line(115, 119), (), "lines 2 and 3 overlap"),
        (LABELS[0], ("--insulator", "A7"), "--insulator A7: not in"),
        (LABELS[0], ("--from", "2020-01-01"), "--from '2020-01-01'"),
        (LABELS[0], ("--to", "2020-01-01T00:00:00Z"), "nothing was watched"),
        (LABELS[0], ("--who", "xy"), "nobody called 'xy'"),
        (LABELS[0], ("--kind", "rain"), "rain"),
        (LABELS[0], ("--before", "soon"), "--before"),
        (LABELS[0], ("--site", "north-head"), "--data and --site belong together"),
    ],
)
def test_bad_input_is_one_line_and_64(
    folder: Path, line: str, options: tuple[str, ...], words: str
) -> None:
    ran = score(folder, line, options=options)
    assert (ran.code, ran.printed) == (64, "")
    (told,) = ran.said
    assert words in told


def test_labels_that_are_not_there_or_no_text_are_one_line_and_64(folder: Path) -> None:
    missing = seafret("score", folder, "--labels", folder / "none.csv")
    assert missing.code == 64 and "none.csv" in missing.said[0]
    (folder / "odd.csv").write_bytes(b"start,\xff\xfe")
    odd = seafret("score", folder, "--labels", folder / "odd.csv")
    assert odd.code == 64 and "no UTF-8" in odd.said[0]


def test_the_operators_answers_are_told_apart_from_the_labels(folder: Path) -> None:
    story = Story()
    story.hear(101)
    story.answer(105, Answer.NOTHING_SEEN, point())
    history = SqliteHistory(folder.parent / "history")
    writer = history.writer("north-head")
    writer.append_journal(
        [JournalLine(one.number, one.at_us, entry_line(one)) for one in story.journal]
    )
    writer.close()
    options = ("--data", folder.parent / "history", "--site", "north-head")
    with_answers = score(folder, *LABELS, options=options)
    assert "nothing-seen 1 1" in " ".join(with_answers.printed.split())
    told = json.loads(score(folder, *LABELS, options=(*options, "--json")).printed)
    assert {"answer": "nothing-seen", "given": 1, "calls_again": 1} in told["answers"]
    assert told["figures"]["precision"]["of"] == 2
