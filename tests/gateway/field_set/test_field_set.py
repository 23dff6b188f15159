"""A field set from a recording in the field to a score: recorded, labelled, checked, sealed."""

from __future__ import annotations

import csv
import json
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from edge import __main__ as edge_command
from gateway.field_set.labelling import Seen
from gateway.field_set.sheet import WIDTH, sheet_text
from gateway.replay.labels import COLUMNS, OPTIONAL, Kind, read_labels
from tests.edge.daemon.builders import (
    RECORDED,
    START_UTC_NS,
    settings_text,
    write_recording,
)
from tests.gateway.commands.running import Ran, seafret

SIGNAL_S, ARCS_FROM_S = 420.0, 60.0
START = datetime.fromtimestamp(START_UTC_NS // 1_000_000_000, UTC)


def at(second: float) -> str:
    return f"{START + timedelta(seconds=second):%Y-%m-%dT%H:%M:%SZ}"


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what `seafret-edge record` saved of a night on which old-post arcs."""
    folder = tmp_path_factory.mktemp("field")
    write_recording(folder, SIGNAL_S, ARCS_FROM_S)
    (folder / "edge.toml").write_text(settings_text(RECORDED))
    asked = ["record", "--settings", str(folder / "edge.toml"), "--seconds", str(SIGNAL_S)]
    assert edge_command.main([*asked, "--out", str(folder / "now.cfg")]) == 0
    return folder


@pytest.fixture
def field_set(recorded: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "nights"
    settings = recorded / "edge.toml"
    assert seafret("field-set", "begin", folder, "--settings", settings).code == 0
    assert seafret("field-set", "add", folder, recorded / "now.cfg").code == 0
    return folder


def label(folder: Path, start: float, end: float, kind: str, **more: str) -> Ran:
    words = {"seen": "video", "who": "A. Knot", "insulator": "old-post"} | more
    options = [word for name, text in words.items() for word in (f"--{name}", text)]
    return seafret(
        "field-set", "label", folder, "--from", at(start), "--to", at(end), "--kind", kind, *options
    )


def whole(folder: Path) -> Path:
    """With labels that hold."""
    assert label(folder, ARCS_FROM_S, SIGNAL_S, "arcing", note="blue, at the second shed").code == 0
    assert label(folder, 0, 30, "unknown", insulator="", seen="nobody").code == 0
    assert label(folder, 100, 200, "rain", insulator="", seen="eye", who="B. Ruff").code == 0
    return folder


def test_labels_are_the_very_rows_that_the_score_reads(field_set: Path) -> None:
    whole(field_set)
    text = (field_set / "labels.csv").read_text()
    assert text.splitlines()[0] == ",".join((*COLUMNS, *OPTIONAL))
    found = read_labels(text, "labels.csv", ["old-post", "new-rubber"], who="A. Knot")
    assert [(one.kind, one.subject) for one in found.labels] == [
        (Kind.UNKNOWN, ""),
        (Kind.ARCING, "old-post"),
    ]
    notes = [row["note"] for row in csv.DictReader(text.splitlines())]
    assert notes == ["by video: blue, at the second shed", "by nobody", "by eye"]


def test_a_sealed_set_is_replayed_and_scored_as_it_stands(field_set: Path, tmp_path: Path) -> None:
    whole(field_set)
    sealed = seafret("field-set", "check", field_set, "--seal-as", "C. Stint", "--json")
    assert sealed.code == 0
    told = sealed.document
    assert told["sealed"] and told["faults"] == [] and told["who"] == ["A. Knot", "B. Ruff"]
    assert told["recorded_s"] == pytest.approx(SIGNAL_S)
    assert told["labelled_s"] == {
        "arcing": SIGNAL_S - ARCS_FROM_S,
        "rain": 100,
        "unknown": 30,
    }
    # old-post: 30 s between unknown and arcing; new-rubber: all but unknown and rain.
    assert told["without_label_s"] == pytest.approx(30 + SIGNAL_S - 130)
    results = tmp_path / "results"
    settings = field_set / "settings.toml"
    ran = seafret("replay", field_set / "recordings", "--out", results, "--settings", settings)
    assert ran.code == 0
    score = seafret(
        "score", results, "--labels", field_set / "labels.csv", "--who", "A. Knot", "--json"
    ).document
    assert score["labels"]["count"] == 2
    assert (score["figures"]["recall"]["count"], score["figures"]["recall"]["of"]) == (1, 1)


def test_a_sealed_set_takes_nothing_more_and_every_change_shows(
    field_set: Path, recorded: Path
) -> None:
    whole(field_set)
    assert seafret("field-set", "check", field_set, "--seal-as", "C. Stint").code == 0
    for refused in (
        label(field_set, 210, 220, "wash", who="B. Ruff"),
        seafret("field-set", "add", field_set, recorded / "now.cfg"),
        seafret("field-set", "check", field_set, "--seal-as", "D. Dotterel"),
    ):
        assert refused.code == 64 and "sealed" in refused.said[0]
    labels = field_set / "labels.csv"
    labels.write_text(labels.read_text().replace("rain", "wash"))
    said = seafret("field-set", "check", field_set)
    assert said.code == 10 and "has changed since C. Stint sealed the set" in said.printed


def _flip(folder: Path) -> None:
    (path,) = (folder / "recordings").glob("*.dat")
    content = bytearray(path.read_bytes())
    content[1000] ^= 1
    path.write_bytes(content)


def _lose(folder: Path) -> None:
    next((folder / "recordings").glob("*.dat")).unlink()


def _put(folder: Path) -> None:
    (folder / "recordings" / "other.cfg").write_text("x")


def _settings(folder: Path) -> None:
    with (folder / "settings.toml").open("a") as stream:
        stream.write("# changed\n")


def _note(folder: Path) -> None:
    path = folder / "labels.csv"
    path.write_text(path.read_text().replace("by video: ", ""))


def _outside(folder: Path) -> None:
    assert label(folder, SIGNAL_S + 10, SIGNAL_S + 20, "flashover").code == 0


def _unseen(folder: Path) -> None:
    path = folder / "labels.csv"
    path.write_text(path.read_text().replace("by video", "by nobody"))


def _kind(folder: Path) -> None:
    path = folder / "labels.csv"
    path.write_text(path.read_text().replace("arcing", "arching"))


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (_flip, ".dat is not what was taken in"),
        (_lose, ".dat is missing"),
        (_put, "recordings/other.cfg was put there by hand"),
        (_settings, "settings.toml is not what the set was begun with"),
        (_note, "labels.csv line 2: the note does not begin with one of 'by eye: '"),
        (_outside, "flashover lies outside every recording"),
        (_unseen, "nobody saw it, so it can only be unknown"),
        (_kind, "kind 'arching' is none of"),
    ],
)
def test_what_is_wrong_with_a_set_is_found_and_keeps_it_from_being_sealed(
    field_set: Path, spoil: object, words: str
) -> None:
    whole(field_set)
    spoil(field_set)  # type: ignore[operator]
    said = seafret("field-set", "check", field_set)
    assert said.code == 10 and "FAULT " in said.printed and words in said.printed
    sealing = seafret("field-set", "check", field_set, "--seal-as", "C. Stint")
    assert sealing.code == 64 and "cannot be sealed" in sealing.said[0]


def test_a_label_that_cannot_be_is_refused_and_the_file_stays_as_it_was(field_set: Path) -> None:
    whole(field_set)
    before = (field_set / "labels.csv").read_bytes()
    for refused, words in (
        (label(field_set, 20, 10, "rain"), "is not after start"),
        (label(field_set, 1, 2, "glowing"), "kind 'glowing' is none of"),
        (label(field_set, 1, 2, "rain", insulator="older-post"), "is no insulator"),
        (label(field_set, 100, 101, "arcing"), "overlap: arcing and arcing"),
        (label(field_set, 1, 2, "rain", confidence="2"), "above 0 and up to 1"),
    ):
        assert refused.code == 64 and words in refused.said[0]
    assert (field_set / "labels.csv").read_bytes() == before


def test_recordings_that_do_not_belong_are_refused(
    field_set: Path, recorded: Path, tmp_path: Path
) -> None:
    twin = seafret("field-set", "add", field_set, recorded / "now.cfg")
    assert twin.code == 64 and "is in the set already, as 001-now" in twin.said[0]
    for ending in (".cfg", ".dat"):
        shutil.copy(recorded / f"now{ending}", tmp_path / f"other{ending}")
    other = tmp_path / "other.cfg"
    other.write_text(other.read_text().replace("new-rubber", "sea-fender"))
    refused = seafret("field-set", "add", field_set, other)
    assert refused.code == 64 and "no current channel 'new-rubber'" in refused.said[0]
    with (tmp_path / "other.dat").open("r+b") as stream:
        stream.truncate(5_000)
    other.write_text((recorded / "now.cfg").read_text())
    assert seafret("field-set", "add", field_set, other).code == 64
    manifest = json.loads((field_set / "manifest.json").read_text())
    assert [one["name"] for one in manifest["recordings"]] == ["001-now"]
    assert len(list((field_set / "recordings").iterdir())) == 2


def test_a_manifest_changed_by_hand_is_refused(field_set: Path, tmp_path: Path) -> None:
    path = field_set / "manifest.json"
    path.write_text(path.read_text().replace("001-now", "001-new"))
    assert "not as it was written" in seafret("field-set", "check", field_set).said[0]
    assert "is no field set" in seafret("field-set", "check", tmp_path).said[0]


def test_the_sheet_fits_the_paper_and_says_the_cautions(field_set: Path) -> None:
    text = (field_set / "sheet.txt").read_text()
    assert max(map(len, text.splitlines())) <= WIDTH
    assert "can flash over without warning" in " ".join(text.split())
    for words in ("old-post, new-rubber", *(one.value for one in Seen), "salt-storm"):
        assert words in text
    from edge.settings import parse_settings

    assert sheet_text(parse_settings(settings_text(RECORDED), "x"), "nights") == text
