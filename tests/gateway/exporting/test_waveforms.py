"""Waveforms out of a history, as the `comtrade` package reads them; hashes beside all exports."""

from __future__ import annotations

import base64
import csv
import hashlib
import json
from pathlib import Path

import comtrade
import numpy as np
import pyarrow.parquet as parquet
import pytest

from edge.recording import feed, read_single_file
from edge.records import Capture, CapturePart, Stream
from edge.samples import SampleBlock
from gateway.history.sqlite_store import SqliteHistory
from tests.gateway.build import START_US, UNIT, commit, interval, key
from tests.gateway.commands.running import SITE, seafret

CONTENT = (
    Path(__file__).resolve().parents[3] / "replay_data" / "sensor_saturated_50hz.cff"
).read_bytes()
SHA = hashlib.sha256(CONTENT).hexdigest()
PART_BYTES = 30_000


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A capture that is whole and one whose parts have not come, and a minute row."""
    pieces = [CONTENT[at : at + PART_BYTES] for at in range(0, len(CONTENT), PART_BYTES)]
    whole = Capture(
        insulator="P 3", trigger="arcing-onset", trigger_us=START_US, start_us=START_US,
        duration_us=200_000, content_sha=SHA, size_bytes=len(CONTENT), parts=len(pieces),
        flags=("saturated",),
    )  # fmt: skip
    parts = [
        CapturePart(content_sha=SHA, part=n, content_b64=base64.b64encode(one).decode())
        for n, one in enumerate(pieces)
    ]
    awaited = Capture(
        insulator="A1", trigger="baseline", trigger_us=START_US + 5, start_us=START_US,
        duration_us=1, content_sha="0" * 64, size_bytes=9, parts=2,
    )  # fmt: skip
    writer = SqliteHistory(tmp_path / "history").writer(SITE)
    writer.append(commit(1, [whole, *parts, awaited], key(stream=Stream.CAPTURE)))
    writer.append(commit(1, [interval(0)], key(stream=Stream.INTERVAL)))
    writer.close()
    return tmp_path


def export(folder: Path, out: str, *options: str) -> tuple[int, str]:
    words = ("export", "--site", SITE, "--data", folder / "history", "--out", folder / out)
    ran = seafret(*words, *options)
    return ran.code, ran.printed


def test_an_independent_reader_finds_the_samples_that_were_captured(folder: Path) -> None:
    code, said = export(folder, "out", "--captures")
    assert code == 0 and said.startswith("1 waveforms") and "1 not whole yet" in said
    (path,) = (folder / "out").glob("*.cff")
    assert UNIT in path.name and path.read_bytes() == CONTENT
    theirs = comtrade.load(str(path), use_numpy_arrays=True, use_double_precision=True)
    record = read_single_file(CONTENT, name="c")
    blocks = [one for one in feed((record,), block_samples=10_000) if isinstance(one, SampleBlock)]
    assert theirs.total_samples == sum(len(one.samples) for one in blocks)
    assert np.ptp(np.array(theirs.analog[0])) > 0


def test_the_list_names_unit_time_doubt_and_hash_of_each(folder: Path) -> None:
    export(folder, "out", "--captures")
    with (folder / "out" / "captures.csv").open(newline="", encoding="utf-8") as stream:
        first, second = csv.DictReader(stream)
    assert (folder / "out" / first["file"]).is_file() and first["sha256"] == SHA
    assert first["trigger_at"] == "2026-11-24T00:00:00.000000Z" and first["flags"] == "saturated"
    assert (first["unit"], first["insulator"]) == (UNIT, "P 3")
    assert second["file"] == ""  # its parts are not there


def test_a_kind_of_trigger_that_is_no_file_name_becomes_one(tmp_path: Path) -> None:
    """It comes from the unit."""
    content = b"x" * 10
    sha = hashlib.sha256(content).hexdigest()
    capture = Capture(
        insulator="A1", trigger="../a/b", trigger_us=START_US, start_us=START_US, duration_us=1,
        content_sha=sha, size_bytes=10, parts=1,
    )  # fmt: skip
    part = CapturePart(content_sha=sha, part=0, content_b64=base64.b64encode(content).decode())
    writer = SqliteHistory(tmp_path / "history").writer(SITE)
    writer.append(commit(1, [capture, part], key(stream=Stream.CAPTURE)))
    writer.close()
    assert export(tmp_path, "out", "--captures")[0] == 0
    (path,) = (tmp_path / "out").glob("*.cff")
    assert path.read_bytes() == content and "_.._a_b_" in path.name


def test_captures_outside_the_time_are_told_by_the_exit_code(folder: Path) -> None:
    assert export(folder, "out", "--captures", "--from", "2030-01-01")[0] == 20


@pytest.mark.parametrize("name", ["rows.csv", "rows.parquet"])
def test_a_table_has_units_meaning_and_hash_beside_it(folder: Path, name: str) -> None:
    assert export(folder, name)[0] == 0
    told = json.loads((folder / f"{name}.json").read_text())
    assert told["sha256"] == hashlib.sha256((folder / name).read_bytes()).hexdigest()
    assert told["rows"] == 1 and told["site"] == SITE
    units = {one["name"]: one["unit"] for one in told["columns"]}
    assert units["peak_ma"] == "mA" and units["seconds"] == "s"
    assert all(one["meaning"] for one in told["columns"])


def test_pyarrow_reads_utc_times_exact_decimals_and_the_columns_of_the_list(folder: Path) -> None:
    export(folder, "rows.parquet")
    table = parquet.read_table(folder / "rows.parquet")
    told = json.loads((folder / "rows.parquet.json").read_text())
    assert table.column_names == [one["name"] for one in told["columns"]]
    assert str(table.schema.field("start").type) == "timestamp[us, tz=UTC]"
    assert str(table["peak_ma"][0].as_py()) == "12.345"
