"""The files of the shelf as the `comtrade` package reads them, against our own reader."""

from __future__ import annotations

from datetime import UTC
from pathlib import Path

import comtrade
import numpy as np
import pytest

from edge.recording import Record, feed
from edge.samples import SampleBlock
from gateway.replay.feeds import opened_feed
from tests.replay.shelf import recordings

FILES = {
    f"{name}/{path.name}" if whole.is_dir() else name: path
    for name, whole in recordings().items()
    for path in (sorted(whole.glob("*.cff")) if whole.is_dir() else [whole])
}


def ours(record: Record) -> np.ndarray:
    """Samples in mA and kV with a NaN for what is missing, row by row."""
    scale = np.array([channel.gain for channel in record.description.channels])
    offset = np.array([channel.offset for channel in record.description.channels])
    rows = []
    for block in feed([record], block_samples=65_536):
        if isinstance(block, SampleBlock):
            physical = block.samples.astype(np.float64) * scale + offset
            if block.missing is not None:
                physical[block.missing] = np.nan
            rows.append(physical)
    return np.vstack(rows)


@pytest.mark.parametrize("name", FILES)
def test_an_independent_reader_reads_the_same_samples(name: str) -> None:
    path: Path = FILES[name]
    other = comtrade.load(str(path), use_numpy_arrays=True, use_double_precision=True)
    with opened_feed((path,)) as opened:
        (record,) = opened.records
        read = ours(record)
        header, description = record.header, record.description
    theirs = np.array(other.analog, dtype=np.float64).T
    whole = ~np.isnan(theirs).any(axis=1)
    if len(theirs) != len(read):  # a row without any value is a gap to us
        theirs = theirs[whole]
        read = read[~np.isnan(read).any(axis=1)]
    assert theirs.shape == read.shape
    assert np.allclose(theirs, read, rtol=1e-12, atol=1e-12, equal_nan=True)
    assert other.analog_channel_ids == [channel.name for channel in description.channels]
    assert other.analog_phases == [channel.phase for channel in description.channels]
    assert other.station_name == header.station == "synthetic"
    assert other.rev_year == header.revision
    assert other.frequency == description.nominal_hz
    assert other.cfg.sample_rates[0][0] == description.rate_hz
    assert other.start_timestamp.timestamp() == pytest.approx(
        header.start_utc_ns / 1e9 + _local_offset_s(other), abs=1e-5
    )


def _local_offset_s(other: comtrade.Comtrade) -> float:
    """The package gives times without a zone; read as local time they are off by so much."""
    naive = other.start_timestamp.replace(tzinfo=None)
    return float(naive.timestamp() - naive.replace(tzinfo=UTC).timestamp())
