"""Bad input to `seafret replay`: one line that says where, what, what is allowed; the exit code."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from edge.samples import Channel, ChannelKind, SignalDescription
from tests.edge.test_settings import SOUND, spoiled
from tests.gateway.replay.command import Ran, seafret_replay, seafret_replay_apart
from tests.properties.recordings import RATE_HZ, coast, description, write

WRONG_USE = 64


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return write(tmp_path / "night.cfg", coast(1.5), description())


def the_line(ran: Ran, code: int) -> str:
    """The one line, where nothing was replayed and nothing that looks like a result was left."""
    assert (ran.code, ran.printed) == (code, "")
    (line,) = ran.said
    assert line.startswith("seafret")
    assert "Traceback" not in line
    assert not ran.files & {"windows.csv", "intervals.csv", "events.jsonl", "run.json"}
    return line


def test_a_recording_cut_short_is_replayed_as_far_as_it_goes_and_ends_with_64(path: Path) -> None:
    rows = path.with_suffix(".dat")
    row_bytes = 4 + 4 + 3 * 2
    os.truncate(rows, 5_000 * row_bytes + 5)
    ran = seafret_replay(path, out=path.parent / "out")
    assert ran.code == WRONG_USE
    assert any(line.startswith("cut short: night.cfg") for line in ran.said)
    assert ran.manifest["seconds_of_signal"] == pytest.approx(5_000 / RATE_HZ, abs=1e-3)
    assert len(ran.manifest["cut"]) == 1
    assert len(ran.table("windows.csv")) >= 10


def test_a_recording_without_a_current_is_refused_with_what_is_needed(tmp_path: Path) -> None:
    volts = SignalDescription(RATE_HZ, 50, (Channel("U1", ChannelKind.VOLTAGE, "A"),))
    path = write(tmp_path / "volts.cfg", coast(1.2)[:, 2:], volts)
    line = the_line(seafret_replay(path, out=tmp_path / "out"), WRONG_USE)
    assert "volts.cfg" in line
    assert "A, mA or uA" in line


@pytest.mark.parametrize("zone", ["Mars/Olympus", "+25", "CET+1", "../etc/passwd", ""])
def test_a_time_zone_that_does_not_exist_is_refused_with_examples(path: Path, zone: str) -> None:
    ran = seafret_replay(path, out=path.parent / "out", options=("--time-zone", zone))
    line = the_line(ran, WRONG_USE)
    assert "--time-zone" in line
    assert "+02:00" in line


def test_an_offset_that_no_place_has_is_refused(path: Path) -> None:
    ran = seafret_replay(path, out=path.parent / "out", options=("--time-zone", "+99:00"))
    assert "--time-zone" in the_line(ran, WRONG_USE)


def test_an_empty_folder_is_refused_with_what_was_looked_for(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    line = the_line(seafret_replay(tmp_path / "empty", out=tmp_path / "out"), WRONG_USE)
    assert "empty" in line
    assert ".cfg or .cff" in line


def test_a_process_of_its_own_ends_with_the_same_code_and_one_line(tmp_path: Path) -> None:
    ran = seafret_replay_apart(tmp_path / "nowhere.cfg", out=tmp_path / "out")
    assert "nowhere.cfg: nothing there" in the_line(ran, WRONG_USE)


def test_a_feed_that_is_not_there_is_refused_by_name(tmp_path: Path) -> None:
    line = the_line(seafret_replay(tmp_path / "nowhere.cfg", out=tmp_path / "out"), WRONG_USE)
    assert "nowhere.cfg: nothing there" in line


def test_another_kind_of_file_is_refused_by_name(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("not a recording")
    line = the_line(seafret_replay(tmp_path / "notes.txt", out=tmp_path / "out"), WRONG_USE)
    assert "notes.txt: another kind of file" in line


def test_a_configuration_without_its_rows_is_refused(path: Path) -> None:
    path.with_suffix(".dat").unlink()
    line = the_line(seafret_replay(path, out=path.parent / "out"), WRONG_USE)
    assert "no .dat beside it" in line


def test_a_configuration_that_lies_about_its_channels_is_refused(path: Path) -> None:
    text = path.read_text().replace("3,3A,0D", "9,9A,0D")
    path.write_text(text)
    line = the_line(seafret_replay(path, out=path.parent / "out"), WRONG_USE)
    assert "night.cfg" in line


def test_an_empty_configuration_is_refused(path: Path) -> None:
    path.write_bytes(b"")
    assert "night.cfg" in the_line(seafret_replay(path, out=path.parent / "out"), WRONG_USE)


def test_settings_at_fault_are_refused_by_file_and_key(path: Path) -> None:
    settings = path.parent / "mast.toml"
    settings.write_text(spoiled("nominal_hz = 50", "nominal_hz = 16.7"), encoding="utf-8")
    options = ("--settings", str(settings))
    line = the_line(seafret_replay(path, out=path.parent / "out", options=options), WRONG_USE)
    assert "mast.toml: site.nominal_hz is 16.7" in line


def test_settings_that_name_a_channel_which_the_record_lacks_are_refused(path: Path) -> None:
    settings = path.parent / "mast.toml"
    settings.write_text(SOUND, encoding="utf-8")
    options = ("--settings", str(settings))
    line = the_line(seafret_replay(path, out=path.parent / "out", options=options), WRONG_USE)
    assert "no current channel 'I1-fine'; it has I1, I2" in line


@pytest.mark.parametrize("content", [None, b"\xff\xfe\x00["])
def test_settings_that_cannot_be_read_are_refused(path: Path, content: bytes | None) -> None:
    settings = path.parent / "mast.toml"
    if content is not None:
        settings.write_bytes(content)
    options = ("--settings", str(settings))
    line = the_line(seafret_replay(path, out=path.parent / "out", options=options), WRONG_USE)
    assert "mast.toml" in line


def test_a_folder_for_results_that_cannot_be_made_is_refused_by_name(path: Path) -> None:
    (path.parent / "taken").write_text("a file")
    ran = seafret_replay(path, out=path.parent / "taken" / "out")
    line = the_line(ran, WRONG_USE)
    assert "taken" in line


def test_missing_words_end_with_64_and_a_pointer_to_the_help(path: Path) -> None:
    for words in ((), (str(path), "--processes", "0")):
        ran = seafret_replay(*words, out=path.parent / "out")
        assert "replay --help" in the_line(ran, WRONG_USE)


def test_what_was_there_before_a_failed_run_is_not_touched(path: Path) -> None:
    good = seafret_replay(path, out=path.parent / "out")
    before = (good.out / "windows.csv").read_bytes()
    failed = seafret_replay(path.parent / "nowhere.cfg", out=good.out)
    assert failed.code == WRONG_USE
    assert (good.out / "windows.csv").read_bytes() == before
