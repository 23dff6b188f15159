"""The daemon from outside: killed, stopped, alone with its folder, without a broker."""

from __future__ import annotations

import json
import signal
from pathlib import Path

import pytest

from edge import __main__ as command_line
from edge.daemon.running import FILE_NAME, made_folder
from edge.faults import exit_code_of, line_of
from edge.keep import DurableFile, Stamp
from edge.records import Stream
from edge.sense.link import LinkDown
from edge.settings import parse_settings
from tests.broker import Broker
from tests.edge.daemon.builders import (
    RECORDED,
    daemon_in,
    kept_bodies,
    played_out,
    settings_text,
    write_recording,
)
from tests.edge.daemon.launching import END_S, await_line, clock_file, ended, launched
from tests.edge.daemon.receiver import Receiver

SIGNAL_S = 70.0
KINDS = ("condition", "interval", "health", "weather")
FAST, SLOW = 12.0, 0.05
"""A recording played fast is killed in the middle of a minute; played slowly it outlasts a test."""


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a recording, and with what an undisturbed daemon keeps of it."""
    folder = tmp_path_factory.mktemp("recorded")
    write_recording(folder, SIGNAL_S)
    played_out(daemon_in(folder, settings_text(RECORDED)))
    return folder


def beside(recorded: Path, folder: Path, text: str) -> Path:
    """Another unit's folder with the same recording; its settings file."""
    for name in ("night.cfg", "night.dat"):
        (folder / name).symlink_to(recorded / name)
    (folder / "edge.toml").write_text(text)
    return folder / "edge.toml"


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_a_daemon_cut_in_mid_minute_counts_no_minute_twice_and_misses_none(
    recorded: Path, tmp_path: Path, number: int
) -> None:
    settings = beside(recorded, tmp_path, settings_text(RECORDED))
    with launched(settings, "--clock", clock_file(tmp_path, FAST)) as process:
        await_line(process, "arcing old-post in")
        code, _ = ended(process, number)
    assert code == (0 if number == signal.SIGTERM else -signal.SIGKILL)
    before = [*kept_bodies(tmp_path, "condition"), *kept_bodies(tmp_path, "interval")]
    assert before and len(before) < len(kept_bodies(recorded, "condition", "interval"))
    played_out(daemon_in(tmp_path, settings_text(RECORDED)))
    for kind in ("condition", "interval"):
        assert kept_bodies(tmp_path, kind) == kept_bodies(recorded, kind)
    assert set(before) <= set(kept_bodies(tmp_path, "condition", "interval"))


def test_a_signal_that_was_taken_in_wholly_is_not_taken_in_again(recorded: Path) -> None:
    before = kept_bodies(recorded, *KINDS)
    played_out(daemon_in(recorded, settings_text(RECORDED)))
    assert kept_bodies(recorded, *KINDS) == before


def test_without_a_broker_it_says_so_and_keeps(recorded: Path, tmp_path: Path) -> None:
    with launched(beside(recorded, tmp_path, settings_text(RECORDED))) as process:
        said, _ = process.communicate(timeout=END_S)
    assert process.returncode == 0 and "no broker is set: it keeps" in said
    assert kept_bodies(tmp_path, "interval") == kept_bodies(recorded, "interval")


def test_while_the_broker_is_down_it_keeps_and_when_it_comes_it_delivers(
    recorded: Path, tmp_path: Path, free_port: int
) -> None:
    text = settings_text(RECORDED, free_port)
    beside(recorded, tmp_path, text)
    (tmp_path / "broker").mkdir()
    broker = Broker(tmp_path / "broker")
    broker.port = free_port
    daemon = daemon_in(tmp_path, text)
    try:
        daemon.start()
        assert daemon.keeper.over.wait(END_S) and daemon.keeper.backlog > 0
        broker.start()
        receiver = Receiver(free_port)
        daemon.wait()
        receiver.close()
    finally:
        daemon.stop()
        broker.stop()
    assert receiver.of(Stream.INTERVAL)[1:] == kept_bodies(tmp_path, "interval")
    assert receiver.of(Stream.ALARM)[1:] == kept_bodies(tmp_path, "condition")
    assert len(receiver.of(Stream.INTERVAL)[1:]) == len(kept_bodies(recorded, "interval"))


def test_a_second_daemon_on_the_same_folder_is_refused_and_harms_nothing(
    recorded: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = beside(recorded, tmp_path, settings_text(RECORDED))
    with launched(settings, "--clock", clock_file(tmp_path, SLOW)) as first:
        await_line(first, "started")
        assert command_line.main(["run", "--settings", str(settings)]) == 69
        said = capsys.readouterr().err
        assert len(said.splitlines()) == 1 and "another process holds this file" in said
        assert ended(first, signal.SIGTERM)[0] == 0


def test_a_folder_that_cannot_be_written_is_one_line_that_says_what_to_do(
    recorded: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = beside(recorded, tmp_path, settings_text(RECORDED))
    (tmp_path / "data").write_text("a file stands where the folder is to be")
    assert command_line.main(["run", "--settings", str(settings)]) == 69
    said = capsys.readouterr().err
    assert len(said.splitlines()) == 1
    assert "store.folder" in said and "change its owner, or name another" in said


@pytest.mark.parametrize(
    ("found", "mended", "words"),
    [
        ("nominal_hz = 50", "nominal_hz = 55", "site.nominal_hz"),
        ("quota_mb = 16", "quota_gb = 16", "quota_gb is no key of this version"),
        ('folder = "data"', "folder = 3", "store.folder"),
        ('path = "night.cfg"', 'path = "day.cfg"', "no recording there"),
        ('channel = "old-post"', 'channel = "older-post"', "it has old-post, new-rubber"),
        ("pole-1", "pole-2", "belongs to the unit gannet-stack.pole-1"),
    ],
)
def test_wrong_settings_are_one_line_and_harm_nothing_that_is_kept(
    recorded: Path, capsys: pytest.CaptureFixture[str], found: str, mended: str, words: str
) -> None:
    before = kept_bodies(recorded, *KINDS)
    text = settings_text(RECORDED)
    assert found in text
    (recorded / "wrong.toml").write_text(text.replace(found, mended, 1))
    assert command_line.main(["run", "--settings", str(recorded / "wrong.toml")]) == 64
    said = capsys.readouterr().err
    assert len(said.splitlines()) == 1 and words in said
    assert before and kept_bodies(recorded, *KINDS) == before


def test_a_port_that_is_not_there_is_one_line_and_harms_nothing(recorded: Path) -> None:
    before = kept_bodies(recorded, *KINDS)
    text = settings_text(f'kind = "link"\nport = "{recorded / "unplugged"}"')
    with pytest.raises(LinkDown, match=r"unplugged is not there; check the USB lead") as refused:
        daemon_in(recorded, text)
    assert exit_code_of(refused.value) == 69 and "\n" not in line_of(refused.value)
    assert before and kept_bodies(recorded, *KINDS) == before


def test_a_recording_cut_short_is_told_and_what_is_there_is_kept(
    recorded: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = beside(recorded, tmp_path, settings_text(RECORDED))
    (tmp_path / "night.dat").unlink()
    whole = (recorded / "night.dat").read_bytes()
    (tmp_path / "night.dat").write_bytes(whole[: len(whole) // 2 + 5])
    assert command_line.main(["run", "--settings", str(settings)]) == 64
    (line,) = [one for one in capsys.readouterr().err.splitlines() if one.startswith("cut short")]
    assert "night.dat" in line and "all that was there is kept" in line
    beats = [json.loads(body) for body in kept_bodies(tmp_path, "health")]
    assert sum(beat["samples"] for beat in beats) == SIGNAL_S * 4_800 // 2


def test_the_data_folder_is_made_where_it_is_missing(tmp_path: Path) -> None:
    text = settings_text(RECORDED).replace('"data"', '"a/b/data"')
    assert made_folder(parse_settings(text, "x"), tmp_path) == tmp_path / "a/b/data"
    assert not list((tmp_path / "a/b/data").iterdir())


def test_the_file_that_a_daemon_leaves_opens_without_a_new_epoch(recorded: Path) -> None:
    stamp = Stamp("b", "local", 1, 1)
    file = DurableFile(
        recorded / "data" / FILE_NAME, "gannet-stack.pole-1", stamp, quota_bytes=16_000_000
    )
    assert not file.new_epoch and file.backlog() > 0
    file.close()
