"""Labelled recordings as COMTRADE files hold the same codes, ranges, gaps and truth."""

import json
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from edge.recording import feed, read_pair
from edge.samples import SampleBlock
from tests.families.families import BY_NAME, recording_of
from tests.families.labelled import Labelled
from tests.families.recordings import write_labelled


def read_back(paths: list[Path]) -> tuple[list[SampleBlock], list[bytes]]:
    held = [(path.read_bytes(), path.with_suffix(".dat").read_bytes()) for path in paths]
    records = [
        read_pair(text, rows, name=path.name)
        for (text, rows), path in zip(held, paths, strict=True)
    ]
    items = list(feed(records, block_samples=1 << 20))
    return [item for item in items if isinstance(item, SampleBlock)], [text for text, _ in held]


def absent_of(block: SampleBlock) -> npt.NDArray[np.bool_]:
    if block.missing is None:
        return np.zeros(block.samples.shape, dtype=bool)
    return block.missing


@pytest.mark.parametrize("name", ["faint", "clipped-fine", "two-ranges", "dead-sensor"])
def test_a_file_holds_the_codes_of_the_recording(name: str, tmp_path: Path) -> None:
    labelled = recording_of(BY_NAME[name], 1, 1.0)
    blocks, _ = read_back(write_labelled(labelled, tmp_path))
    assert len(blocks) == 1
    assert np.array_equal(np.asarray(blocks[0].samples), labelled.recording.samples)


def test_lost_samples_are_marked_in_the_file(tmp_path: Path) -> None:
    labelled = recording_of(BY_NAME["lost-samples"], 1, 3.0)
    missing = labelled.recording.missing
    assert missing is not None and missing.any()
    blocks, _ = read_back(write_labelled(labelled, tmp_path))
    seen = np.ones_like(missing)
    for block in blocks:
        seen[block.counter : block.counter_end] = absent_of(block)
    assert np.array_equal(seen, missing)


def test_a_gap_of_the_counter_stays_a_gap_between_files(tmp_path: Path) -> None:
    labelled = gapped()
    blocks, _ = read_back(write_labelled(labelled, tmp_path))
    starts = [block.counter for block in blocks]
    expected = [0, *(end for _, end in labelled.recording.gaps)]
    assert len(starts) == len(expected)
    assert np.max(np.abs(np.array(starts) - np.array(expected))) <= 1


def gapped() -> Labelled:
    return BY_NAME["gaps"](3, 10_000.0, 50.0, True, 5.0)


def test_the_truth_lies_beside_the_recording(tmp_path: Path) -> None:
    labelled = recording_of(BY_NAME["faint"], 1, 1.0)
    write_labelled(labelled, tmp_path)
    truth = json.loads((tmp_path / "faint-1.truth.json").read_text())
    assert truth["label"] == labelled.truth.label.tolist()
    assert truth["family"] == "faint" and len(truth["boundaries"]) == len(truth["label"]) + 1
