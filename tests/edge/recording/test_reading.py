"""What a recording says reaches the samples, the scale and the clock."""

from __future__ import annotations

import mmap
from pathlib import Path

import numpy as np
import pytest

from edge.recording import feed, read_pair, read_single_file
from edge.recording.record import Record
from edge.samples import ChannelKind
from tests.edge.recording.builders import (
    CURRENT,
    RAMP,
    VOLTAGE,
    anchors,
    binary,
    configuration,
    ending,
    joined,
    single,
    text,
)

START_NS = 1_706_756_645_000_000_000  # 2024-02-01 03:04:05 UTC
TEXT_ROWS = [f"{n},{100 * (n - 1)},{n},{-n}" for n in range(1, 9)]


def samples_of(record: Record) -> list[list[float]]:
    return joined(list(feed([record], block_samples=3)))[1]


def physical_of(record: Record) -> list[float]:
    """First row, scaled."""
    row = samples_of(record)[0]
    channels = record.description.channels
    return [x * c.gain + c.offset for x, c in zip(row, channels, strict=True)]


@pytest.mark.parametrize("kind", ["BINARY", "BINARY32", "FLOAT32"])
def test_each_binary_type_gives_its_codes(kind: str) -> None:
    rows = binary(RAMP, kind=kind)
    record = read_pair(configuration(kind=kind), rows, name="a.cfg")
    assert samples_of(record) == RAMP
    assert (
        samples_of(
            read_single_file(
                single(configuration(kind=kind), f"{kind}: {len(rows)}", rows), name="a.cff"
            )
        )
        == RAMP
    )


@pytest.mark.parametrize("end", ["\r\n", "\n"])
def test_ascii_gives_its_numbers_whatever_the_line_end(end: str) -> None:
    cfg = configuration(kind="ASCII", end=end)
    assert samples_of(read_pair(cfg, text(TEXT_ROWS, end=end), name="a.cfg")) == RAMP
    one = single(cfg, "ASCII", text(TEXT_ROWS, end=end))
    assert samples_of(read_single_file(one, name="a.cff")) == RAMP


@pytest.mark.parametrize("tail", [b"", b"\r\n", b"\x1a", b"\r\n\r\n\x1a"])
def test_ascii_rows_may_lack_their_last_line_end(tail: bytes) -> None:
    rows = text(TEXT_ROWS).rstrip() + tail
    record = read_pair(configuration(kind="ASCII"), rows, name="a.cfg")
    assert samples_of(record) == RAMP
    assert record.cut == ""


def test_status_words_are_stepped_over() -> None:
    digital = [f"{n},D{n},,,0" for n in range(1, 18)]
    rows = binary(RAMP, words=(0xFFFF, 1))
    assert samples_of(read_pair(configuration(digital=digital), rows, name="a.cfg")) == RAMP


def test_a_binary_heading_may_call_any_binary_type_binary() -> None:
    rows = binary(RAMP, kind="FLOAT32")
    one = single(configuration(kind="FLOAT32"), f"BINARY: {len(rows)}     ", rows)
    assert samples_of(read_single_file(one, name="a.cff")) == RAMP


def test_header_text_and_identity_are_kept() -> None:
    one = single(configuration(kind="ASCII"), "ASCII", text(TEXT_ROWS), "salt fog\r\nfrom west")
    record = read_single_file(one, name="a.cff")
    assert record.header_text == "salt fog\r\nfrom west"
    assert (record.header.station, record.header.device) == ("Fogbank", "FB-1")
    assert record.header.start_utc_ns == START_NS
    assert record.header.trigger_utc_ns == START_NS + 200_000
    assert record.description.nominal_hz == 50.0


def test_samples_are_views_of_the_buffer_where_channels_stand_together() -> None:
    rows = np.frombuffer(bytearray(binary(RAMP)), dtype=np.uint8)
    record = read_pair(configuration(), rows, name="a.cfg")
    block = next(iter(b for b in feed([record], block_samples=8) if hasattr(b, "samples")))
    assert np.shares_memory(block.samples, rows)


def test_a_memory_map_is_read_in_place(tmp_path: Path) -> None:
    path = tmp_path / "a.dat"
    path.write_bytes(binary(RAMP))
    with path.open("rb") as file:
        mapped = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    assert samples_of(read_pair(configuration(), mapped, name="a.cfg")) == RAMP
    mapped_array = np.memmap(path, dtype=np.uint8, mode="r")
    assert samples_of(read_pair(configuration(), mapped_array, name="a.cfg")) == RAMP


SCALES = [
    ("1,I1,A,,A,2,1,0,0,0,1,1,P", [2e3 + 1e3]),
    ("1,I1,A,,mA,2,1,0,0,0,1,1,p", [3.0]),
    ("1,I1,A,,MA,2,1,0,0,0,1,1,P", [3.0]),
    ("1,I1,A,,uA,2,1,0,0,0,1,1,P", [3e-3]),
    ("1,I1,A,,\u00b5A,2,1,0,0,0,1,1,P", [3e-3]),
    ("1,I1,A,,\u03bcA,2,1,0,0,0,1,1,P", [3e-3]),
    ("1,I1,A,,mA,2,1,0,0,0,500,5,S", [300.0]),
    ("1,I1,A,,mA,2,1,0,0,0,500,5,P", [3.0]),
    ("1,U1,A,,V,2,1,0,0,0,1,1,P", [3e-3]),
    ("1,U1,A,,KV,2,1,0,0,0,1,1,P", [3.0]),
    ("1,U1,A,,MV,2,1,0,0,0,1,1,P", [3e3]),
    ("1,U1,A,,V,2,1,0,0,0,11000,110,s", [0.3]),
]


@pytest.mark.parametrize(("line", "expected"), SCALES)
def test_values_come_to_primary_milliamperes_and_kilovolts(
    line: str, expected: list[float]
) -> None:
    record = read_pair(configuration(analogue=[line]), binary([[1]] * 8), name="a.cfg")
    assert physical_of(record) == pytest.approx(expected, rel=1e-12)


def test_a_latin_1_micro_sign_is_understood() -> None:
    cfg = configuration(analogue=["1,I1,A,,\u00b5A,1,0,0,0,0,1,1,P"]).decode()
    for content in (cfg.encode("latin-1"), b"\xef\xbb\xbf" + cfg.encode()):
        record = read_pair(content, binary([[1]] * 8), name="a.cfg")
        assert physical_of(record) == pytest.approx([1e-3])


@pytest.mark.parametrize("unit", ["kA", "mV", "W", "", "degC"])
def test_a_channel_of_another_unit_is_left_apart_and_said(unit: str) -> None:
    odd = f"1,T1,,,{unit},1,0,0,0,0,1,1,P"
    record = read_pair(configuration(analogue=[odd, VOLTAGE]), binary([[7, 5]] * 8), name="a.cfg")
    assert [c.name for c in record.signal.apart] == ["T1"]
    assert [c.kind for c in record.description.channels] == [ChannelKind.VOLTAGE]
    assert samples_of(record) == [[5]] * 8
    assert any("'T1'" in warning for warning in record.warnings)


def test_doubled_and_empty_names_get_their_number() -> None:
    lines = [f"{n},{name},,,mA,1,0,0,0,0,1,1,P" for n, name in enumerate(["I", "", "I", "I-1"], 1)]
    record = read_pair(configuration(analogue=lines), binary([[1] * 4] * 8), name="a.cfg")
    assert [c.name for c in record.description.channels] == ["I-1", "2", "I-3", "I-1-4"]
    assert len(record.warnings) == 4


@pytest.mark.parametrize(
    ("low", "high", "ends"),
    [
        ("-32768", "32767", (-32768, 32767)),
        ("-2047", "2047", (-2047, 2047)),
        ("0", "4095", (0, 4095)),
        ("0", "32767", (None, None)),
        ("-99999", "99998", (None, None)),
        ("0", "0", (None, None)),
        ("-812", "977", (None, None)),
        ("-32767.5", "32767.5", (None, None)),
    ],
)
def test_only_what_looks_like_converter_ends_is_taken_for_them(
    low: str, high: str, ends: tuple[float | None, float | None]
) -> None:
    line = f"1,I1,A,,mA,1,0,0,{low},{high},1,1,P"
    record = read_pair(configuration(analogue=[line]), binary([[1]] * 8), name="a.cfg")
    channel = record.description.channels[0]
    assert (channel.raw_min, channel.raw_max) == ends


def test_float_formats_have_no_converter_ends() -> None:
    record = read_pair(configuration(kind="FLOAT32"), binary(RAMP, kind="FLOAT32"), name="a")
    assert record.description.channels[0].raw_max is None


def test_the_anchor_comes_before_the_first_block() -> None:
    items = list(feed([read_pair(configuration(), binary(RAMP), name="a")], block_samples=4))
    assert items[0] is anchors(items)[0]
    assert ending(items).reason == "all 1 recordings read"


def test_one_channel_line_is_enough() -> None:
    record = read_pair(configuration(analogue=[CURRENT]), binary([[3]] * 8), name="a.cfg")
    assert physical_of(record) == pytest.approx([0.03])


@pytest.mark.parametrize("line", ["1,I1,A,,mA,0,0,0,0,0,1,1,P", "1,I1,A,,A,1e308,0,0,0,0,9,1,S"])
def test_a_channel_without_a_usable_scale_is_left_apart(line: str) -> None:
    record = read_pair(configuration(analogue=[line, VOLTAGE]), binary([[7, 5]] * 8), name="a.cfg")
    assert [c.name for c in record.description.channels] == ["U1"]
    assert [c.name for c in record.signal.apart] == ["I1"]


def test_a_skew_is_said_and_not_undone() -> None:
    line = CURRENT.replace("0.01,0,0", "0.01,0,12.5")
    record = read_pair(configuration(analogue=[line]), binary([[3]] * 8), name="a.cfg")
    assert record.warnings == ("a.cfg: channel 'I1' is skewed by 12.5 us; not undone",)
