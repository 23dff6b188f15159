"""Nothing stands on the shelf without its expectation and its row, and the shelf stays small."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from gateway.replay.feeds import opened_feed
from tests.replay.index import BEGIN, END, INDEX, read_rows, row_of
from tests.replay.making import CODE_APART_MAX, NOT_REAL, differing
from tests.replay.shelf import EXPECTATION, SHELF, expectations, recordings
from tests.replay.situations import BY_NAME

BYTES_MAX = 2_000_000
NAMES = tuple(recordings())


def alone(shelf: Path) -> list[str]:
    """Names that lack one of recording, expectation and row of the index."""
    told, expected = set(recordings(shelf)), set(expectations(shelf))
    listed = {row.name for row in read_rows(shelf)}
    return sorted((told | expected | listed) - (told & expected & listed))


def test_recording_expectation_and_row_of_the_index_belong_together() -> None:
    assert len(NAMES) >= 14
    assert not alone(SHELF)


@pytest.mark.parametrize("spoil", ["recording", "expectation", "row"])
def test_each_of_the_three_is_missed_when_it_is_taken_away(spoil: str, tmp_path: Path) -> None:
    shelf = Path(shutil.copytree(SHELF, tmp_path / "shelf"))
    name = "dry_calm_50hz"
    if spoil == "recording":
        (shelf / f"{name}.cfg").unlink()
    elif spoil == "expectation":
        (shelf / f"{name}{EXPECTATION}").unlink()
    else:
        text = (shelf / INDEX).read_text(encoding="utf-8")
        kept = [line for line in text.splitlines() if not line.startswith(f"| {name} ")]
        (shelf / INDEX).write_text("\n".join(kept), encoding="utf-8")
    assert alone(shelf) == [name]


def test_an_index_without_a_table_is_refused(tmp_path: Path) -> None:
    (tmp_path / INDEX).write_text("No table here.", encoding="utf-8")
    with pytest.raises(ValueError, match="no table between"):
        read_rows(tmp_path)


@pytest.mark.parametrize("name", NAMES)
def test_the_row_of_the_index_says_what_the_files_say(name: str) -> None:
    (row,) = [each for each in read_rows(SHELF) if each.name == name]
    assert row == row_of(name, SHELF)


@pytest.mark.parametrize("name", NAMES)
def test_every_recording_says_itself_that_it_is_synthetic(name: str) -> None:
    with opened_feed((recordings()[name],)) as feed:
        assert {record.header.station for record in feed.records} == {"synthetic"}
        texts = [record.header_text for record in feed.records if record.header_text]
    if recordings()[name].suffix == ".cfg":
        texts = [(SHELF / f"{name}.hdr").read_text(encoding="utf-8")]
    assert texts and all(NOT_REAL in text and name in text for text in texts)


def test_all_recordings_together_stay_small() -> None:
    files = [path for path in SHELF.rglob("*") if path.is_file()]
    assert sum(path.stat().st_size for path in files) < BYTES_MAX


def test_formats_rates_and_frequencies_of_all_kinds_are_on_the_shelf() -> None:
    rows = read_rows(SHELF)
    written = " ".join(row.written_as for row in rows)
    for part in ("1991", "1999", "2013", "ASCII", "BINARY", "BINARY32", "FLOAT32", ".cff"):
        assert part in written
    assert {row.nominal_hz for row in rows} == {"50", "60"}
    assert {row.rate_ks_s for row in rows} >= {"4.8", "10"}
    assert BEGIN != END


@pytest.mark.parametrize("name", ["one_polarity_50hz", "sample_gap_50hz"])
def test_the_files_hold_what_their_generator_makes(name: str) -> None:
    assert CODE_APART_MAX == 1
    assert differing(BY_NAME[name], SHELF) == ""


@pytest.mark.long
@pytest.mark.parametrize("name", BY_NAME)
def test_every_file_holds_what_its_generator_makes(name: str) -> None:
    assert differing(BY_NAME[name], SHELF) == ""


def test_another_seed_would_not_pass_for_the_files(tmp_path: Path) -> None:
    shelf = Path(shutil.copytree(SHELF, tmp_path / "shelf"))
    for suffix in (".cfg", ".dat"):
        shutil.copy(SHELF / f"dry_band_arcing_50hz{suffix}", shelf / f"one_polarity_50hz{suffix}")
    assert "samples" in differing(BY_NAME["one_polarity_50hz"], shelf)
