"""Captures of a replay: in the events, as files, and each file replayed alone."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from gateway.replay.run import Request, replay
from tests.edge.daemon.builders import write_recording
from tests.gateway.replay.command import Ran, seafret_replay


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """A night with arcs from its fifth second on, replayed with `--captures`."""
    folder = tmp_path_factory.mktemp("night")
    feed = write_recording(folder, signal_s=95.0)
    return seafret_replay(feed, out=folder / "out", options=("--captures",))


def manifests(ran: Ran) -> list[dict[str, Any]]:
    lines = (ran.out / "events.jsonl").read_text().splitlines()
    return [one for one in map(json.loads, lines) if one["kind"] == "capture"]


def files(ran: Ran) -> dict[str, Path]:
    """By the digest of their bytes."""
    found = (ran.out / "captures").iterdir()
    return {hashlib.sha256(path.read_bytes()).hexdigest(): path for path in found}


def test_every_capture_of_the_events_is_a_file_with_its_digest(ran: Ran) -> None:
    told = manifests(ran)
    assert {one["trigger"] for one in told} == {"arcing-onset", "baseline"}
    assert set(files(ran)) == {one["content_sha"] for one in told}
    assert ran.manifest["counts"]["captures"] == len(told)
    for one in told:
        path = files(ran)[one["content_sha"]]
        assert path.stat().st_size == one["size_bytes"]
        assert one["insulator"] in path.name and one["trigger"] in path.name


def test_an_onset_replayed_alone_arcs_again_in_the_half_cycle_of_its_trigger(
    ran: Ran, tmp_path: Path
) -> None:
    (onset,) = (one for one in manifests(ran) if one["trigger"] == "arcing-onset")
    alone = seafret_replay(files(ran)[onset["content_sha"]], out=tmp_path / "alone")
    assert alone.code == 0
    rows = alone.table("windows.csv")
    whole = ran.table("windows.csv")
    starts = [microseconds(row["start"]) for row in rows]
    at = max(n for n, start_us in enumerate(starts) if start_us <= onset["trigger_us"])
    assert [row["arcing_halfcycles"] != "0" for row in rows] == [False, True, True]
    assert at == 1
    before = next(
        row
        for row in whole
        if row["start"] == rows[1]["start"] and row["insulator"] == onset["insulator"]
    )
    for column in ("state", "arcing_positive", "arcing_negative", "peak_ma", "doubtful_halfcycles"):
        assert rows[1][column] == before[column]
    again = manifests(alone)
    assert [one["trigger"] for one in again] == ["arcing-onset"]
    assert again[0]["trigger_us"] == onset["trigger_us"]


def test_the_baseline_replayed_alone_is_dry(ran: Ran, tmp_path: Path) -> None:
    (dry,) = (one for one in manifests(ran) if one["trigger"] == "baseline")
    alone = seafret_replay(files(ran)[dry["content_sha"]], out=tmp_path / "alone")
    assert [row["state"] for row in alone.table("windows.csv")] == ["dry"]


def test_without_the_option_there_are_no_files_and_the_same_events(
    ran: Ran, tmp_path: Path
) -> None:
    plain = seafret_replay(ran.out.parent / "night.cfg", out=tmp_path / "plain")
    assert not (plain.out / "captures").exists()
    assert (plain.out / "events.jsonl").read_bytes() == (ran.out / "events.jsonl").read_bytes()


def test_files_do_not_depend_on_processes_or_blocks(ran: Ran, tmp_path: Path) -> None:
    feed = ran.out.parent / "night.cfg"
    replay(Request((feed,), processes=2, block_samples=997, captures=True), tmp_path)
    other = {path.name: path.read_bytes() for path in (tmp_path / "captures").iterdir()}
    assert other == {path.name: path.read_bytes() for path in (ran.out / "captures").iterdir()}


def microseconds(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1e6)
