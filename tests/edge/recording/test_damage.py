"""However a recording is damaged, it is read or refused: nothing else ever happens."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge.recording import Record, RecordingError, feed, read_pair, read_single_file
from edge.recording.configuration import parse_header
from edge.samples import StreamEnd
from tests.edge.recording.builders import (
    RAMP,
    binary,
    configuration,
    configuration_1991,
    joined,
    single,
    text,
)

LINES = text([f"{n},{100 * (n - 1)},{n},{-n}" for n in range(1, 9)])
DIGITAL = ["1,D1,,,0"]
CONFIGURATIONS = [
    configuration(),
    configuration(kind="ASCII"),
    configuration(digital=DIGITAL, first="Fogbank,FB-1,1999", tail=("1",)),
    configuration(rates=("0", "0,8")),
    configuration_1991(),
]
SINGLE_FILES = [
    single(configuration(), "BINARY: 96", binary(RAMP), "note"),
    single(configuration(), "BINARY", binary(RAMP)),
    single(configuration(kind="ASCII"), "ASCII", LINES, "note"),
    single(configuration(kind="FLOAT32"), "FLOAT32: 128", binary(RAMP, kind="FLOAT32")),
]


def rows_read(record: Record) -> list[list[float]]:
    items = list(feed([record], block_samples=3))
    assert isinstance(items[-1], StreamEnd)
    return joined(items)[1]


@pytest.mark.parametrize("content", SINGLE_FILES)
def test_a_single_file_cut_at_any_byte_is_read_to_the_cut_or_refused(content: bytes) -> None:
    read = 0
    for length in range(len(content)):
        try:
            rows = rows_read(read_single_file(content[:length], name="a.cff"))
        except RecordingError as refusal:
            assert str(refusal).isprintable()
            continue
        read += 1
        # At most the very last number of an ASCII file can lose a digit without a trace.
        assert rows[:-1] == RAMP[: len(rows) - 1]
    assert read > 20


@pytest.mark.parametrize(
    ("cfg", "rows"),
    [(configuration(), binary(RAMP)), (configuration(kind="ASCII"), LINES)],
)
def test_a_pair_cut_at_any_byte_is_read_to_the_cut_or_refused(cfg: bytes, rows: bytes) -> None:
    for length in range(len(rows)):
        try:
            record = read_pair(cfg, rows[:length], name="a.cfg")
        except RecordingError:
            continue
        assert rows_read(record) == RAMP[: record.rows.count]
        assert record.cut or length >= len(rows) - 2
    for length in range(len(cfg)):
        try:
            assert rows_read(read_pair(cfg[:length], rows, name="a.cfg")) == RAMP
        except RecordingError:
            continue


@given(
    content=st.sampled_from(CONFIGURATIONS),
    place=st.integers(0, 400),
    piece=st.binary(max_size=6)
    | st.sampled_from([b",", b"\n", b"9" * 400, b"-", b"\xb5", b"\x00"]),
    dropped=st.integers(0, 8),
)
@settings(max_examples=400, deadline=None)
def test_a_spoilt_configuration_is_read_or_refused(
    content: bytes, place: int, piece: bytes, dropped: int
) -> None:
    spoilt = content[:place] + piece + content[place + dropped :]
    for rows in (binary(RAMP), LINES):
        try:
            rows_read(read_pair(spoilt, rows, name="a.cfg"))
        except RecordingError as refusal:
            assert str(refusal).isprintable()


@given(content=st.binary(max_size=300))
@settings(max_examples=200, deadline=None)
def test_noise_alone_is_refused(content: bytes) -> None:
    with pytest.raises(RecordingError):
        parse_header(content, name="a.cfg")
    with pytest.raises(RecordingError):
        read_single_file(content, name="a.cff")


@given(
    content=st.sampled_from(SINGLE_FILES),
    place=st.integers(0, 700),
    piece=st.binary(max_size=6),
    dropped=st.integers(0, 8),
)
@settings(max_examples=400, deadline=None)
def test_a_spoilt_single_file_is_read_or_refused(
    content: bytes, place: int, piece: bytes, dropped: int
) -> None:
    spoilt = content[:place] + piece + content[place + dropped :]
    try:
        rows_read(read_single_file(spoilt, name="a.cff"))
    except RecordingError as refusal:
        assert str(refusal).isprintable()


@given(rows=st.lists(st.binary(max_size=20), max_size=10))
@settings(max_examples=200, deadline=None)
def test_noise_in_ascii_rows_is_read_or_refused(rows: list[bytes]) -> None:
    cfg = configuration(kind="ASCII")
    try:
        rows_read(read_pair(cfg, LINES[:30] + b"\n".join(rows), name="a.cfg"))
    except RecordingError as refusal:
        assert str(refusal).isprintable()
