"""A folder of recordings of which some are broken; a run that was stopped; records kept apart."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from contextlib import nullcontext
from pathlib import Path
from typing import TypeVar

import pytest

from edge.records import Stream
from edge.samples import Channel, ChannelKind, SignalDescription
from gateway.history.sqlite_store import SqliteHistory
from gateway.replay import run as running
from gateway.replay import standing
from gateway.replay.run import RESULT_NAMES, Request, replay
from gateway.replay.scratch import UNIT
from gateway.replay.spreading import ThisProcess, Workers
from tests.gateway.commands.running import seafret
from tests.gateway.replay.command import seafret_replay
from tests.gateway.replay.tasks import Losing
from tests.properties.recordings import (
    RATE_HZ,
    coast,
    description,
    encoded,
    write,
    write_coast,
    write_codes,
)

TaskT = TypeVar("TaskT")


def write_library(folder: Path) -> Path:
    """Two sound records, and each way of being broken."""
    write_coast(folder)
    (folder / "empty.cfg").write_bytes(b"")
    (folder / "words.cfg").write_text("this is no recording\n")
    (folder / "words.dat").write_bytes(b"xyz")
    (folder / "alone.cfg").write_bytes((folder / "first.cfg").read_bytes())
    codes, signal = encoded(coast(1.2), description())
    write_codes(folder / "over.cfg", codes, signal, counter=round(RATE_HZ))  # within the first
    lone = SignalDescription(RATE_HZ, 50, (Channel("I9", ChannelKind.CURRENT, "A"),))
    codes, signal = encoded(coast(1.2)[:, :1], lone)
    write_codes(folder / "other.cfg", codes, signal, counter=90 * round(RATE_HZ))
    return folder


def bytes_of(folder: Path, names: Iterable[str] = RESULT_NAMES) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in names}


def test_broken_recordings_are_named_counted_and_passed_over(tmp_path: Path) -> None:
    good = seafret_replay(write_coast(tmp_path / "good"), out=tmp_path / "a")
    ran = seafret_replay(write_library(tmp_path / "library"), out=tmp_path / "b")
    assert (good.code, ran.code) == (0, 64)
    named = [line for line in ran.said if line.startswith("passed over: ")]
    for name in ("empty.cfg", "words.cfg", "alone.cfg", "over.cfg", "other.cfg"):
        assert sum(name in line for line in named) == 1, (name, named)
    assert "5 recordings passed over" in ran.said
    assert len(ran.manifest["broken"]) == 5
    assert str(tmp_path) not in json.dumps(ran.manifest)
    tables = ("windows.csv", "intervals.csv", "events.jsonl")
    assert bytes_of(tmp_path / "a", tables) == bytes_of(tmp_path / "b", tables)


def test_a_result_with_recordings_passed_over_is_made_again_elsewhere(tmp_path: Path) -> None:
    library = write_library(tmp_path / "library")
    seafret_replay(library, out=tmp_path / "out")
    moved = library.rename(tmp_path / "moved")
    assert seafret("verify", tmp_path / "out", "--inputs", moved).code == 0
    (moved / "words.cfg").write_text("this is no recording either\n")
    ran = seafret("verify", tmp_path / "out", "--inputs", moved)
    assert ran.code == 10 and "words.cfg" in ran.printed


def test_where_no_recording_is_sound_the_first_fault_is_told(tmp_path: Path) -> None:
    (tmp_path / "library").mkdir()
    for name in ("a.cfg", "b.cfg"):
        (tmp_path / "library" / name).write_text("no recording\n")
    ran = seafret_replay(tmp_path / "library", out=tmp_path / "out")
    assert ran.code == 64 and "a.cfg" in ran.said[0] and not ran.files


class Stopped(Exception):
    pass


def stop() -> None:
    raise Stopped


def stopped_after_one(monkeypatch: pytest.MonkeyPatch, request: Request, out: Path) -> None:
    """Runs until the first task is done and kept."""

    def workers(processes: int, scheduler: str | None, ahead: str) -> nullcontext[Workers]:
        return nullcontext(Losing(ThisProcess(), stop))

    with monkeypatch.context() as patched:
        patched.setattr(running, "opened_workers", workers)
        with pytest.raises(Stopped):
            replay(request, out)


@pytest.fixture
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tasks of a second, and a stand kept as often."""
    monkeypatch.setattr(standing, "KEPT_EVERY_US", 1_000_000)
    monkeypatch.setattr("gateway.replay.walking.TASK_SECONDS", 1)


def test_a_run_that_was_stopped_goes_on_and_leaves_the_same_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, short: None
) -> None:
    feed = write_coast(tmp_path / "feed")
    request = Request((feed,), captures=True)
    replay(request, tmp_path / "whole")
    stopped_after_one(monkeypatch, request, tmp_path / "cut")
    assert (tmp_path / "cut" / "progress.json").is_file()
    with (tmp_path / "cut" / "windows.csv.part").open("ab") as stream:
        stream.write(b"half a line")
    taken: list[object] = []
    tasks_of = running.tasks_of

    def counted(stretches: Iterable[object], begun: object) -> Iterator[object]:
        taken.extend(stretches)
        return tasks_of(list(stretches), begun)  # type: ignore[arg-type]

    monkeypatch.setattr(running, "tasks_of", counted)
    replay(request, tmp_path / "cut")
    assert len(taken) == 1  # of two stretches
    assert bytes_of(tmp_path / "cut") == bytes_of(tmp_path / "whole")
    assert not (tmp_path / "cut" / "progress.json").exists()


def test_a_stop_is_not_gone_on_with_once_a_recording_was_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, short: None
) -> None:
    feed = write_coast(tmp_path / "feed")
    stopped_after_one(monkeypatch, Request((feed,)), tmp_path / "cut")
    write(feed / "first.cfg", coast(4.0, seed=9), description())
    replay(Request((feed,)), tmp_path / "cut")
    replay(Request((feed,)), tmp_path / "fresh")
    assert bytes_of(tmp_path / "cut") == bytes_of(tmp_path / "fresh")


def test_records_in_a_scratch_history_are_those_of_the_result(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, short: None
) -> None:
    feed = write_coast(tmp_path / "feed")
    request = Request((feed,), scratch=tmp_path / "scratch")
    stopped_after_one(monkeypatch, request, tmp_path / "out")
    ran = seafret_replay(feed, out=tmp_path / "out", options=("--scratch", str(request.scratch)))
    assert ran.code == 0
    reader = SqliteHistory(tmp_path / "scratch").reader("replay")
    events = [
        entry.body
        for key in reader.marks()
        if key.stream in (Stream.ALARM, Stream.CAPTURE)
        for entry in reader.lines(key)
        if b'"kind":"condition"' in entry.body or b'"kind":"capture"' in entry.body
    ]
    minutes = len(reader.intervals("I1", 0, 1 << 62))
    marks = {(key.unit, key.stream): mark.upto for key, mark in reader.marks().items()}
    reader.close()
    told = (tmp_path / "out" / "events.jsonl").read_bytes().splitlines()
    assert sorted(events) == sorted(told) and told
    assert minutes == len([row for row in ran.table("intervals.csv") if row["insulator"] == "I1"])
    again = seafret_replay(
        feed, out=tmp_path / "again", options=("--scratch", str(request.scratch))
    )
    reader = SqliteHistory(tmp_path / "scratch").reader("replay")
    assert again.code == 0
    assert {(k.unit, k.stream): m.upto for k, m in reader.marks().items()} == marks
    assert {unit for unit, _ in marks} == {UNIT}
    reader.close()


def test_a_history_that_no_replay_made_is_not_written_to(tmp_path: Path) -> None:
    SqliteHistory(tmp_path / "live").writer("north-head").close()
    before = (tmp_path / "live" / "north-head.sqlite3").read_bytes()
    feed = write(tmp_path / "one.cfg", coast(1.2), description())
    options = ("--scratch", str(tmp_path / "live"))
    ran = seafret_replay(feed, out=tmp_path / "out", options=options)
    assert ran.code == 64 and "no replay made" in ran.said[0]
    assert (tmp_path / "live" / "north-head.sqlite3").read_bytes() == before
