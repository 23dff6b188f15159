"""A comparison or a score that was printed with --json, verified."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.gateway.commands.running import Ran, seafret
from tests.gateway.replay.told import label_line, labels_text, occurrence, result


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    result(tmp_path / "a", [occurrence(10, 20), occurrence(40, 50, subject="A2")])
    result(tmp_path / "b", [occurrence(11, 20)])
    (tmp_path / "labels.csv").write_text(labels_text(label_line(12, 20), label_line(30, 35)))
    return tmp_path


def printed(folder: Path, name: str, *words: str | Path) -> Path:
    path = folder / name
    path.write_text(seafret(*words, "--json").printed)
    return path


def verify(path: Path, folder: Path, *options: str | Path) -> Ran:
    return seafret("verify", path, "--inputs", folder, *options)


def test_a_comparison_is_made_again_wherever_the_results_lie(folder: Path, tmp_path: Path) -> None:
    path = printed(folder, "c.json", "compare", folder / "a", folder / "b")
    assert verify(path, folder).printed == "identical: c.json\n"
    moved = tmp_path / "moved"
    moved.mkdir()
    for name in ("a", "b"):
        shutil.move(folder / name, moved / name)
    assert verify(path, moved).code == 0
    assert verify(path, folder / "nowhere").code == 64


def test_a_score_is_made_again_with_the_labels_and_a_changed_figure_is_named(
    folder: Path,
) -> None:
    labels = folder / "labels.csv"
    path = printed(folder, "s.json", "score", folder / "a", "--labels", labels)
    assert verify(path, folder, "--labels", labels).printed == "identical: s.json\n"
    assert verify(path, folder).code == 64  # the labels are missing
    told = json.loads(path.read_text())
    told["figures"]["recall"]["count"] = 2
    path.write_text(json.dumps(told))
    ran = verify(path, folder, "--labels", labels)
    assert ran.code == 10 and "figures.recall.count" in ran.printed


def test_other_labels_are_found_out_by_their_hash(folder: Path) -> None:
    labels = folder / "labels.csv"
    path = printed(folder, "s.json", "score", folder / "a", "--labels", labels)
    labels.write_text(labels_text(label_line(12, 21), label_line(30, 35)))
    assert verify(path, folder, "--labels", labels).code == 10


def test_a_file_that_is_neither_is_told_in_words(folder: Path) -> None:
    path = folder / "x.json"
    path.write_text("{}")
    ran = verify(path, folder)
    assert ran.code == 64 and "neither a comparison nor a score" in ran.said[0]
