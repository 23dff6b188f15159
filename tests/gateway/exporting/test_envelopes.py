"""Envelopes written out of a history can be read again, however large the lines are."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge.records import CapturePart, Stream
from edge.wire import body_line, read_batch
from gateway.exporting.envelopes import LINES_A_MESSAGE, write_envelopes
from gateway.history.sqlite_store import SqliteHistory
from tests.gateway.build import UNIT, commit, key

SITE = "north-head"


def written(folder: Path, parts: list[CapturePart]) -> list[bytes]:
    """The messages of a history of these parts."""
    history = SqliteHistory(folder)
    writer = history.writer(SITE)
    writer.append(commit(1, parts, key(stream=Stream.CAPTURE)))
    writer.close()
    reader = history.reader(SITE)
    try:
        assert write_envelopes(reader, UNIT, folder / "out.jsonl") == len(parts)
    finally:
        reader.close()
    return (folder / "out.jsonl").read_bytes().splitlines()


@given(sizes=st.lists(st.sampled_from([4, 2_000, 3_000, 40_000, 60_000]), min_size=1, max_size=50))
@settings(max_examples=15, deadline=None)
def test_envelopes_of_large_lines_are_read_again_line_for_line(
    tmp_path_factory: pytest.TempPathFactory, sizes: list[int]
) -> None:
    folder = tmp_path_factory.mktemp("site")
    parts = [
        CapturePart(content_sha="0" * 64, part=n, content_b64="A" * size)
        for n, size in enumerate(sizes)
    ]
    batches = [read_batch(line) for line in written(folder, parts)]
    assert [one.body for batch in batches for one in batch.lines] == [body_line(p) for p in parts]
    assert max(len(batch.lines) for batch in batches) <= LINES_A_MESSAGE


def test_small_lines_share_a_message_as_before(tmp_path: Path) -> None:
    parts = [CapturePart(content_sha="0" * 64, part=n, content_b64="AAAA") for n in range(45)]
    assert [len(read_batch(line).lines) for line in written(tmp_path, parts)] == [20, 20, 5]
