"""`seafret verify` as a person starts it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from edge.recording.model import Revision
from edge.samples import Channel, ChannelKind, SignalDescription
from tests.edge.test_settings import SOUND
from tests.gateway.commands.running import Ran, seafret
from tests.properties.recordings import RATE_HZ, coast, description, encoded, write, write_codes


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recording beside others, and the result of it."""
    folder = tmp_path_factory.mktemp("made")
    night = write(folder / "in" / "night.cfg", coast(1.5), description())
    write(folder / "in" / "other.cfg", coast(1.2, seed=4), description())
    assert seafret("replay", night, "--out", folder / "out").code == 0
    return folder


@pytest.fixture
def copy(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "copy"))


def verify(folder: Path, *options: object) -> Ran:
    return seafret("verify", folder / "out", "--inputs", folder / "in", *options)


def test_a_result_made_again_is_identical_and_was_only_read(copy: Path) -> None:
    before = {path.name: path.read_bytes() for path in (copy / "out").iterdir()}
    ran = verify(copy)
    assert (ran.code, ran.said) == (0, [])
    assert ran.printed == "identical: windows.csv, intervals.csv, events.jsonl, run.json\n"
    assert {path.name: path.read_bytes() for path in (copy / "out").iterdir()} == before
    assert json.loads(verify(copy, "--json").printed)["identical"] is True


def test_settings_that_a_run_was_given_are_kept_with_it(tmp_path: Path) -> None:
    channels = (
        Channel("I1-fine", ChannelKind.CURRENT, "A"),
        Channel("I1", ChannelKind.CURRENT, "A"),
        Channel("U1", ChannelKind.VOLTAGE, "A"),
    )
    signal = SignalDescription(RATE_HZ, 50, channels)
    path = write(tmp_path / "in" / "night.cfg", coast(1.2), signal)
    (tmp_path / "unit.toml").write_text(SOUND, encoding="utf-8")
    options = ("--out", tmp_path / "out", "--settings", tmp_path / "unit.toml")
    ran = seafret("replay", path, *options)
    assert ran.code == 0, ran.said
    (tmp_path / "unit.toml").unlink()
    assert verify(tmp_path).code == 0
    plain = json.loads((tmp_path / "out" / "run.json").read_text())
    plain["settings"]["limits"]["wet_peak_ma"] = 0.26
    (tmp_path / "out" / "run.json").write_text(json.dumps(plain))
    changed = verify(tmp_path)
    assert changed.code == 64 and "changed by hand" in changed.said[0]


def test_a_zone_that_a_run_was_given_is_kept_with_it(tmp_path: Path) -> None:
    codes, signal = encoded(coast(1.2), description())
    path = write_codes(tmp_path / "in" / "old.cfg", codes, signal, revision=Revision.R1999)
    for zone in ("Europe/Lisbon", "+02:00", "UTC"):
        ran = seafret("replay", path, "--out", tmp_path / "out", "--time-zone", zone)
        assert ran.code == 0
        assert verify(tmp_path).code == 0, zone


def changed_cell(folder: Path) -> str:
    path = folder / "out" / "windows.csv"
    lines = path.read_text().splitlines(keepends=True)
    cells = lines[2].split(",")
    cells[5] = "99"
    path.write_text("".join([*lines[:2], ",".join(cells), *lines[3:]]))
    return "windows.csv, line 3, halfcycles"


def lost_line(folder: Path) -> str:
    path = folder / "out" / "intervals.csv"
    path.write_text("".join(path.read_text().splitlines(keepends=True)[:-1]))
    return "intervals.csv, line 3: in the result no line"


def changed_event(folder: Path) -> str:
    path = folder / "out" / "events.jsonl"
    path.write_text(path.read_text().replace('"priority":2', '"priority":3', 1))
    return "events.jsonl, line "


def changed_count(folder: Path) -> str:
    path = folder / "out" / "run.json"
    plain = json.loads(path.read_text())
    plain["counts"]["windows"] += 1
    path.write_text(json.dumps(plain, indent=2))
    return "run.json, counts.windows"


def changed_input(folder: Path) -> str:
    write(folder / "in" / "night.cfg", coast(1.5, seed=9), description())
    return "input night.dat: not what it was"


def lost_file(folder: Path) -> str:
    (folder / "out" / "events.jsonl").unlink()
    return "events.jsonl, the file: in the result not there"


@pytest.mark.parametrize(
    "change",
    [changed_cell, lost_line, changed_event, changed_count, changed_input, lost_file],
    ids=lambda one: one.__name__,
)
def test_a_difference_is_told_by_its_place_and_ends_with_10(
    copy: Path, change: Callable[[Path], str]
) -> None:
    words = change(copy)
    ran = verify(copy)
    assert (ran.code, ran.said) == (10, [])
    assert words in " ".join(ran.printed.split())


def test_inputs_that_are_not_there_are_named_and_end_with_64(copy: Path) -> None:
    (copy / "in" / "night.cfg").unlink()
    ran = verify(copy)
    assert (ran.code, ran.printed) == (64, "")
    assert "input night.cfg is not in --inputs" in ran.said[0]


def test_of_several_inputs_of_one_name_the_one_that_was_used_is_taken(copy: Path) -> None:
    first = write(copy / "in" / "a" / "night.cfg", coast(1.1, seed=8), description())
    first.write_text(first.read_text().replace("salt-marsh", "elsewhere"))
    assert verify(copy).code == 0
    (copy / "in" / "night.cfg").unlink()
    shutil.copytree(copy / "in" / "a", copy / "in" / "b")
    ran = verify(copy)
    assert ran.code == 64 and "input night.cfg is not in" in ran.said[0]


def test_a_result_of_an_earlier_version_needs_its_settings_named(copy: Path) -> None:
    path = copy / "out" / "run.json"
    plain = json.loads(path.read_text())
    del plain["settings_given"]
    path.write_text(json.dumps(plain))
    ran = verify(copy)
    assert ran.code == 64 and "--settings FILE" in ran.said[0]
