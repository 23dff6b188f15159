"""`seafret compare` as a person starts it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.gateway.commands.running import seafret
from tests.gateway.replay.told import clock, occurrence, result


@pytest.fixture
def two(tmp_path: Path) -> tuple[Path, Path]:
    """Two hand-made results: one alarm alike, one later, one only in each; one setting differs."""
    common = [occurrence(2, 5), occurrence(20, 30, subject="A2")]
    a = result(tmp_path / "a", [*common, occurrence(40, 50, "near-margin", priority=1)])
    later = [common[0], occurrence(23, 30, subject="A2"), occurrence(55, None, "over-range")]
    limits = {"limits": {"wet_peak_ma": 0.5}}
    b = result(tmp_path / "b", later, settings=limits, settings_sha="f" * 16)
    return a, b


def test_what_differs_is_told_and_ends_with_10(two: tuple[Path, Path]) -> None:
    ran = seafret("compare", *two)
    assert ran.code == 10
    told = " ".join(ran.printed.split())
    assert "arcing 0 0 2 +0 +0..+180" in told
    assert "all 1 1 2" in told
    assert "near-margin A1" in told and "over-range A1" in told
    assert "begins +180 s" in told
    assert "limits.wet_peak_ma: 0.3 -> 0.5" in told
    assert ran.printed.endswith("they differ\n")
    body = [line for line in ran.printed.splitlines() if str(two[0].parent) not in line]
    assert max(map(len, body)) <= 80


def test_json_says_the_same_and_its_counts_add_up(two: tuple[Path, Path]) -> None:
    told = json.loads(seafret("compare", *two, "--json").printed)
    counts = told["counts"]
    assert (counts["only_a"], counts["only_b"], counts["both"]) == (1, 1, 2)
    assert counts["only_a"] + counts["both"] == counts["total_a"] == 3
    assert len(told["only_a"]) == 1 and len(told["both"]) == 2
    assert told["only_a"][0]["start"].startswith(clock(40)[:-1])
    assert told["settings"] == [{"key": "limits.wet_peak_ma", "a": 0.3, "b": 0.5}]
    assert [one["delay_s"] for one in told["both"]] == [0.0, 180.0]
    assert told["load"]["a"]["announced"] == told["load"]["b"]["announced"] == 3
    assert told["same"] is False


def test_a_smaller_tolerance_tells_them_apart(two: tuple[Path, Path]) -> None:
    told = json.loads(seafret("compare", *two, "--json", "--tolerance", "2min").printed)
    assert (told["counts"]["both"], told["counts"]["only_a"]) == (1, 2)


def test_a_result_is_the_same_as_itself(two: tuple[Path, Path]) -> None:
    ran = seafret("compare", two[0], two[0])
    assert (ran.code, ran.said) == (0, [])
    assert ran.printed.endswith("nothing differs\n")


def test_other_inputs_are_a_difference_by_name(tmp_path: Path) -> None:
    a = result(tmp_path / "a")
    b = result(tmp_path / "b", inputs=[{"name": "night.cfg", "sha256": "bb"}])
    ran = seafret("compare", a, b)
    assert ran.code == 10 and "inputs differ: night.cfg" in ran.printed


def test_results_that_keep_no_settings_say_so(tmp_path: Path) -> None:
    a, b = result(tmp_path / "a"), result(tmp_path / "b")
    plain = json.loads((b / "run.json").read_text())
    del plain["settings"]
    (b / "run.json").write_text(json.dumps(plain))
    assert "does not keep them; replay it again" in seafret("compare", a, b).printed


def spoil_nothing(folder: Path) -> None:
    (folder / "run.json").unlink()


def spoil_begun(folder: Path) -> None:
    (folder / "run.json").rename(folder / "run.json.part")


def spoil_manifest(folder: Path) -> None:
    (folder / "run.json").write_text("{")


def spoil_keys(folder: Path) -> None:
    (folder / "run.json").write_text('{"software": "x"}')


def spoil_event(folder: Path) -> None:
    lines = (folder / "events.jsonl").read_text().splitlines()
    lines[1] = lines[1].replace('"priority":2', '"priority":9')
    (folder / "events.jsonl").write_text("\n".join(lines))


def spoil_cut_event(folder: Path) -> None:
    text = (folder / "events.jsonl").read_text()
    (folder / "events.jsonl").write_text(text[:-30])


def spoil_row(folder: Path) -> None:
    text = (folder / "intervals.csv").read_text()
    (folder / "intervals.csv").write_text(text.replace(",wet,", ",damp,", 1))


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (spoil_nothing, "no run.json"),
        (spoil_begun, "did not end"),
        (spoil_manifest, "run.json"),
        (spoil_keys, "settings_sha, inputs, insulators is missing"),
        (spoil_event, "line 2"),
        (spoil_cut_event, "events.jsonl: line 3"),
        (spoil_row, "damp"),
    ],
)
def test_a_folder_that_is_no_result_is_one_line_and_64(
    tmp_path: Path, spoil: object, words: str
) -> None:
    sound, broken = result(tmp_path / "a"), result(tmp_path / "b", [occurrence(3, 9)])
    assert callable(spoil)
    spoil(broken)
    ran = seafret("compare", sound, broken)
    assert (ran.code, ran.printed) == (64, "")
    (line,) = ran.said
    assert words in line and str(broken) in line


@pytest.mark.parametrize("tolerance", ["0s", "ten", "-5min"])
def test_a_tolerance_that_is_no_duration_is_wrong_use(tmp_path: Path, tolerance: str) -> None:
    sound = result(tmp_path / "a")
    ran = seafret("compare", sound, sound, "--tolerance", tolerance)
    assert ran.code == 64 and "--tolerance" in ran.said[0]
