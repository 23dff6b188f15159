"""What is written is read back, by this reader and by an independent one."""

from __future__ import annotations

import io
from pathlib import Path

import comtrade
import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edge.recording import Record, RecordingError, feed, read_pair, read_single_file
from edge.recording.model import FileType, Revision
from edge.recording.stamps import QUALITY_ERROR_NS, quality_code, quality_of
from edge.recording.writer import Writing, quantised, write_pair, write_single_file
from edge.samples import Channel, ChannelKind, SampleBlock, SignalDescription
from tests.edge.recording.builders import binary, configuration

START_NS = 1_700_000_000_123_456_000
FORMATS = [
    (revision, kind)
    for revision in Revision
    for kind in FileType
    if revision is Revision.R2013 or kind in (FileType.ASCII, FileType.BINARY)
]
CHANNELS = (
    Channel("Cape 1", ChannelKind.CURRENT, phase="A", gain=0.01, offset=0.5),
    Channel("Cape U", ChannelKind.VOLTAGE, phase="A", gain=0.001),
)


def writing(kind: FileType, revision: Revision = Revision.R2013, **changes: object) -> Writing:
    fields: dict[str, object] = {
        "station": "Fogbank",
        "device": "FB-1",
        "signal": SignalDescription(10_000.0, 50.0, CHANNELS),
        "start_utc_ns": START_NS,
        "trigger_utc_ns": START_NS + 20_000_000,
        "revision": revision,
        "file_type": kind,
    }
    return Writing(**{**fields, **changes})  # type: ignore[arg-type]


def pair(plan: Writing, samples: npt.NDArray[np.generic], **changes: object) -> tuple[bytes, bytes]:
    cfg, rows = io.BytesIO(), io.BytesIO()
    write_pair(cfg, rows, plan, samples, **changes)  # type: ignore[arg-type]
    return cfg.getvalue(), rows.getvalue()


def blocks_of(record: Record) -> list[SampleBlock]:
    return [b for b in feed([record], block_samples=1000) if isinstance(b, SampleBlock)]


def codes(rows: int = 300) -> npt.NDArray[np.int16]:
    return np.random.default_rng(7).integers(0, 32_000, (rows, 2)).astype(np.int16)


@pytest.mark.parametrize(("revision", "kind"), FORMATS)
@pytest.mark.parametrize("is_single", [False, True])
def test_codes_times_and_names_come_back(
    revision: Revision, kind: FileType, is_single: bool
) -> None:
    plan = writing(kind, revision, header_text="a note\nof two lines", quality="5")
    if is_single:
        target = io.BytesIO()
        write_single_file(target, plan, codes())
        record = read_single_file(target.getvalue(), name="a.cff")
        assert record.header_text == "a note\r\nof two lines"
    else:
        record = read_pair(*pair(plan, codes()), name="a.cfg")
    assert record.description == plan.signal
    assert (record.header.station, record.header.device) == ("Fogbank", "FB-1")
    assert record.header.start_utc_ns == START_NS
    assert record.header.trigger_utc_ns == START_NS + 20_000_000
    assert record.cut == ""
    assert np.array_equal(np.vstack([b.samples for b in blocks_of(record)]), codes())
    if revision is Revision.R2013:
        assert record.header.quality == quality_of("5", 1_000, "")
        assert record.flags == ()


@pytest.mark.parametrize(("revision", "kind"), FORMATS)
def test_an_independent_reader_agrees(revision: Revision, kind: FileType) -> None:
    cfg, rows = pair(writing(kind, revision), codes())
    other = comtrade.Comtrade(use_numpy_arrays=True, use_double_precision=True)
    other.read(cfg.decode(), rows if kind is not FileType.ASCII else rows.decode())
    record = read_pair(cfg, rows, name="a.cfg")
    ours = np.vstack([b.samples for b in blocks_of(record)]).astype(np.float64)
    for column, channel in enumerate(record.description.channels):
        expected = ours[:, column] * channel.gain + channel.offset
        assert np.allclose(other.analog[column], expected, rtol=1e-12, atol=1e-12)
    assert other.analog_channel_ids == ["Cape 1", "Cape U"]
    assert other.analog_phases == ["A", "A"]
    assert (other.station_name, other.rec_dev_id) == ("Fogbank", "FB-1")
    assert other.rev_year == revision
    assert other.frequency == 50.0
    assert other.total_samples == 300
    assert other.start_timestamp.isoformat() == "2023-11-14T22:13:20.123456"
    assert other.trigger_timestamp.isoformat() == "2023-11-14T22:13:20.143456"


@pytest.mark.parametrize("kind", list(FileType))
def test_an_independent_reader_agrees_on_the_single_file(kind: FileType, tmp_path: Path) -> None:
    path = tmp_path / "a.cff"
    with path.open("wb") as file:
        write_single_file(file, writing(kind, header_text="a note"), codes())
    other = comtrade.load(str(path), use_numpy_arrays=True, use_double_precision=True)
    expected = codes()[:, 0] * 0.01 + 0.5
    assert np.allclose(other.analog[0], expected, rtol=1e-12)
    assert "a note" in other.hdr


def test_layouts_have_the_sizes_of_published_samples() -> None:
    """90 and 4214 bytes: sample files of the `comtrade` reader's project (read).

    4 analogue and 16 status channels in BINARY, 5 rows; 1 and 1 in FLOAT32, 301 rows.
    """
    cases = [("BINARY", 4, 16, 5, 90), ("FLOAT32", 1, 1, 301, 4214)]
    for kind, analogue, digital, count, size in cases:
        table = [[row + 10 * column for column in range(analogue)] for row in range(count)]
        rows = binary(table, kind=kind, words=(1,))
        assert len(rows) == size
        cfg = configuration(
            analogue=[f"{n},I{n},A,,mA,0.5,1,0,0,0,1,1,P" for n in range(1, analogue + 1)],
            digital=[f"{n},D{n},,,0" for n in range(1, digital + 1)],
            rates=("1", f"10000,{count}"),
            kind=kind,
        )
        blocks = blocks_of(read_pair(cfg, rows, name="a.cfg"))
        assert np.vstack([b.samples for b in blocks]).tolist() == table
        other = comtrade.Comtrade(use_numpy_arrays=True, use_double_precision=True)
        other.read(cfg.decode(), rows)
        expected = np.array(table) * 0.5 + 1
        assert np.allclose(np.array(other.analog).T, expected, rtol=1e-12)


@pytest.mark.parametrize(("revision", "kind"), FORMATS)
@settings(deadline=None, max_examples=50)
@given(
    samples=st.lists(
        st.tuples(*[st.floats(-1e4, 1e4, allow_nan=False)] * 2), min_size=1, max_size=40
    )
)
def test_physical_samples_come_back_within_half_a_step(
    revision: Revision, kind: FileType, samples: list[tuple[float, float]]
) -> None:
    physical = np.array(samples)
    stored, channels = quantised(physical, CHANNELS, kind, revision)
    plan = writing(kind, revision, signal=SignalDescription(10_000.0, 50.0, channels))
    record = read_pair(*pair(plan, stored), name="a.cfg")
    assert record.description.channels == channels
    block = blocks_of(record)[0]
    assert block.samples.shape == physical.shape
    assert block.missing is None
    for column, channel in enumerate(channels):
        back = block.samples[:, column].astype(np.float64) * channel.gain + channel.offset
        slack = 1e-9 * channel.gain if kind is not FileType.FLOAT32 else 0.0
        single = np.abs(physical[:, column]) * 2.0**-24 + 1e-45
        limit = single if kind is FileType.FLOAT32 else abs(channel.gain) / 2 + slack + single
        assert (np.abs(back - physical[:, column]) <= limit).all()


@pytest.mark.parametrize(
    ("revision", "kind"), [pair for pair in FORMATS if pair[1] is not FileType.FLOAT32]
)
def test_missing_values_come_back_missing(revision: Revision, kind: FileType) -> None:
    missing = np.zeros((300, 2), dtype=bool)
    missing[5, 0] = missing[9, 1] = True
    record = read_pair(*pair(writing(kind, revision), codes(), missing=missing), name="a.cfg")
    (block,) = blocks_of(record)
    assert block.missing is not None
    assert np.array_equal(block.missing, missing)
    assert np.array_equal(block.samples[~missing], codes()[~missing])


def test_a_sample_that_is_not_finite_comes_back() -> None:
    samples = np.array([[np.nan, np.inf], [1.0, -np.inf]], dtype=np.float32)
    (block,) = blocks_of(read_pair(*pair(writing(FileType.FLOAT32), samples), name="a.cfg"))
    assert np.array_equal(block.samples, samples, equal_nan=True)
    assert block.missing is None


def test_nanoseconds_come_back_in_2013_and_are_cut_before() -> None:
    for revision, expected in ((Revision.R2013, START_NS + 789), (Revision.R1999, START_NS)):
        plan = writing(FileType.BINARY, revision, start_utc_ns=START_NS + 789)
        assert read_pair(*pair(plan, codes()), name="a").header.start_utc_ns == expected


@pytest.mark.parametrize("start_ns", [START_NS, START_NS + 1])
def test_time_stamps_are_right_by_their_multiplier(start_ns: int) -> None:
    plan = writing(FileType.ASCII, start_utc_ns=start_ns)
    cfg, rows = pair(plan, np.zeros((100_000, 2), dtype=np.int16))
    header = read_pair(cfg, rows, name="a.cfg").header
    number, stamp, *_ = rows.rstrip().split(b"\r\n")[-1].split(b",")
    assert int(number) == 100_000
    assert float(stamp) * header.stamp_ns == pytest.approx(99_999 * 1e5, rel=1e-6)


def test_a_clipped_sample_at_the_missing_code_stays_a_clipped_sample() -> None:
    channel = Channel("I", ChannelKind.CURRENT, raw_min=-32768.0, raw_max=32767.0)
    plan = writing(FileType.BINARY, signal=SignalDescription(10_000.0, 50.0, (channel,)))
    samples = np.array([[-32768], [32767], [0]], dtype=np.int16)
    record = read_pair(*pair(plan, samples), name="a.cfg")
    (block,) = blocks_of(record)
    (read,) = record.description.channels
    assert block.missing is None
    assert (read.raw_min, read.raw_max) == (-32767.0, 32767.0)
    assert block.samples.ravel().tolist() == [-32767, 32767, 0]


UNWRITABLE = [
    (writing(FileType.BINARY), [[40_000, 0]], "code 40000 in BINARY of revision 2013"),
    (writing(FileType.BINARY), [[-32_768, 0]], "code -32768 in BINARY"),
    (writing(FileType.BINARY), [[0.5, 0]], "code 0.5 in BINARY"),
    (writing(FileType.BINARY), [[np.nan, 0]], "code nan in BINARY"),
    (writing(FileType.BINARY, Revision.R1991), [[-1, 0]], "other than -1, which means missing"),
    (writing(FileType.ASCII), [[99_999, 0]], "beyond 99998"),
    (writing(FileType.ASCII), [[np.nan, 0]], "not finite"),
    (writing(FileType.FLOAT32, Revision.R1999), [[1, 0]], "FLOAT32 in revision 1999"),
    (writing(FileType.BINARY, station="a,b"), [[1, 0]], "a comma or control character"),
    (writing(FileType.BINARY, device="a\nb"), [[1, 0]], "a comma or control character"),
    (writing(FileType.BINARY, header_text="--- file type: X"), [[1, 0]], "a section heading"),
]


@pytest.mark.parametrize(("plan", "samples", "message"), UNWRITABLE)
def test_what_a_format_cannot_hold_is_not_written(
    plan: Writing, samples: list[list[float]], message: str
) -> None:
    target = io.BytesIO()
    with pytest.raises(RecordingError, match="recording to write") as caught:
        write_single_file(target, plan, np.array(samples))
    assert message in str(caught.value)
    assert target.getvalue() == b""


def test_nothing_and_gaps_in_float32_are_not_written() -> None:
    with pytest.raises(RecordingError, match="no row"):
        pair(writing(FileType.BINARY), codes(0))
    with pytest.raises(RecordingError, match="a missing value in FLOAT32"):
        pair(writing(FileType.FLOAT32), codes(), missing=np.ones((300, 2), dtype=bool))
    with pytest.raises(RecordingError, match="not finite"):
        quantised(np.array([[np.nan, 1.0]]), CHANNELS, FileType.BINARY)


@pytest.mark.parametrize("code", [code for code in QUALITY_ERROR_NS if code != "0"])
def test_a_quality_code_covers_the_error_it_was_made_from(code: str) -> None:
    error_ns = QUALITY_ERROR_NS[code]
    assert quality_code(error_ns, False) == code
    assert quality_code(10**11, True) == "F"
    assert quality_code(500, True) == "0"
