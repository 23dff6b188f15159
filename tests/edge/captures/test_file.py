"""The file of a waveform: every code comes back, and every message stays small."""

from __future__ import annotations

import hashlib
from base64 import b64decode
from dataclasses import replace

import numpy as np
import pytest

from edge.captures.file import file_bytes, records_of
from edge.measure.plan import Calibration
from edge.measure.raw_rows import CapturedWaveform, Trigger
from edge.recording import feed, read_single_file
from edge.records import Capture, CapturePart
from edge.samples import Channel, ChannelKind, SampleBlock
from edge.wire import MESSAGE_BYTES_MAX, body_line
from tests.edge.captures.builders import RATE_HZ, waveform
from tests.edge.decide.builders import START_US


def read_back(one: CapturedWaveform) -> tuple[np.ndarray, np.ndarray | None]:
    """Codes and missing values as the recording's own reader gives them."""
    record = read_single_file(file_bytes(one, "sha"), name="one.cff")
    items = feed([record], block_samples=1 << 20)
    blocks = [item for item in items if isinstance(item, SampleBlock)]
    assert len(blocks) == 1
    return np.asarray(blocks[0].samples), blocks[0].missing


@pytest.mark.parametrize("kind", [np.int16, np.int32, np.float32])
def test_every_code_comes_back_as_the_converter_gave_it(kind: type) -> None:
    one = waveform(Trigger.ONSET, 30.0)
    one = replace(one, samples=one.samples.astype(kind) * (3 if kind is not np.int16 else 1))
    samples, missing = read_back(one)
    assert np.array_equal(samples, one.samples)
    assert missing is None or not missing.any()
    assert b"codes: as the converter gave" in file_bytes(one, "sha")


def test_a_code_that_would_mean_missing_is_kept_in_a_wider_format() -> None:
    one = waveform(Trigger.OVER_RANGE, 30.0)
    one.samples[100, 0] = -32_768
    samples, missing = read_back(one)
    assert samples[100, 0] == -32_768
    assert missing is None or not missing.any()


@pytest.mark.parametrize("kind", [np.int16, np.float32])
def test_missing_values_stay_missing(kind: type) -> None:
    one = waveform(Trigger.ONSET, 30.0)
    gone = np.zeros(one.samples.shape, np.bool_)
    gone[40:50, 0] = True
    samples, missing = read_back(replace(one, samples=one.samples.astype(kind), missing=gone))
    absent = ~np.isfinite(samples.astype(float))
    assert np.array_equal(absent if missing is None else missing | absent, gone)


def test_double_precision_says_that_it_was_rounded() -> None:
    one = waveform(Trigger.ONSET, 30.0)
    assert b"rounded to single" in file_bytes(replace(one, samples=one.samples / 3.0), "sha")


def test_file_tells_trigger_scale_phase_settings_and_calibration() -> None:
    channels = (
        Channel("I,1\n", ChannelKind.CURRENT, "L2", gain=0.01, offset=0.5),
        Channel("U", ChannelKind.VOLTAGE, "L2", gain=0.002),
    )
    one = waveform(Trigger.HIGHEST, 30.0)
    description = replace(one.description, channels=channels)
    one = replace(one, description=description, calibration=Calibration(id="spring", gain=-1.02))
    record = read_single_file(file_bytes(one, "5e77"), name="one.cff")
    assert record.header.trigger_utc_ns == START_US * 1000 + 30_000_000_000
    assert record.header.start_utc_ns == record.header.trigger_utc_ns - 300_000_000
    assert record.header.device == "seafret 5e77"
    current, voltage = record.description.channels
    assert (current.phase, current.gain, current.offset) == ("L2", 0.01, 0.5)
    assert (voltage.kind, voltage.gain) == (ChannelKind.VOLTAGE, 0.002)
    for line in ("trigger: highest-arcing-current", "settings: 5e77", "calibration gain: -1.02"):
        assert line in record.header_text
    assert record.description.rate_hz == RATE_HZ


def test_parts_put_together_are_the_file_and_each_fits_half_a_message() -> None:
    one = waveform(Trigger.FLASHOVER, 30.0, rows=20_000)
    content = file_bytes(one, "sha")
    manifest, *parts = records_of(one, content, "sha")
    assert isinstance(manifest, Capture) and manifest.parts == len(parts) > 2
    pieces = [b64decode(part.content_b64) for part in parts if isinstance(part, CapturePart)]
    assert b"".join(pieces) == content
    assert manifest.content_sha == hashlib.sha256(content).hexdigest()
    assert manifest.size_bytes == len(content)
    assert max(len(body_line(part)) for part in parts) < MESSAGE_BYTES_MAX * 0.52
    assert manifest.duration_us == round(20_000 / RATE_HZ * 1e6)
