"""Labelled recordings as COMTRADE files, for a program that is judged from outside."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import numpy as np

from edge.recording.writer import Writing, write_pair
from tests.families.labelled import Labelled, Recording


def write_recording(recording: Recording, folder: Path, name: str) -> list[Path]:
    """Writes name-0.cfg and .dat, one pair for each stretch between gaps; returns the .cfg paths.

    The start is cut to the record's time resolution, so a gap stays a gap of about its length.
    """
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for number, block in enumerate(recording.blocks()):
        ahead_ns = round(block.counter / recording.description.rate_hz * 1e9)
        start_ns = (recording.start_utc_ns + ahead_ns) // 1000 * 1000
        writing = Writing(
            station="lighthouse-point",
            device=name,
            signal=recording.description,
            start_utc_ns=start_ns,
            trigger_utc_ns=start_ns,
        )
        path = folder / f"{name}-{number}.cfg"
        with path.open("wb") as configuration, path.with_suffix(".dat").open("wb") as rows:
            write_pair(configuration, rows, writing, block.samples, block.missing)
        paths.append(path)
    return paths


def write_truth(labelled: Labelled, path: Path) -> None:
    """The truth beside a recording: arrays as JSON lists, in the names of `Truth`."""
    plain = {
        name: held.tolist() if isinstance(held, np.ndarray) else [held.real, held.imag]
        for name, held in asdict(labelled.truth).items()
    }
    head = {"family": labelled.family, "kind": labelled.kind.value, "seed": labelled.seed}
    path.write_text(json.dumps(head | plain))


def write_labelled(labelled: Labelled, folder: Path) -> list[Path]:
    """Recording and truth of one labelled recording in a folder of its own name."""
    name = f"{labelled.family}-{labelled.seed}"
    paths = write_recording(labelled.recording, folder / name, name)
    write_truth(labelled, folder / f"{name}.truth.json")
    return paths
