"""Makes the recordings of `replay_data/` from their generators: the one documented way to do so.

    python -m tests.replay.making              all of them, and the table of the index
    python -m tests.replay.making NAME...      only these
    python -m tests.replay.making --check      write nothing; tell whether the files hold the same

A recording's facts (`<name>.expect.toml`) are written with it, from the generator's truth. Golden
digests are left as they are: a recording that has changed fails them until `tests.replay.refresh`
is told why. Samples may round to the neighbouring code on another machine, so `--check` allows one.
"""

from __future__ import annotations

import argparse
import io
import shutil
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from edge.recording import Record, feed, read_pair, read_single_file
from edge.recording.model import FileType
from edge.recording.writer import (
    Writing,
    configuration_text,
    encode_rows,
    write_single_file,
)
from edge.samples import SampleBlock
from tests.replay.expectation import (
    Expectation,
    expectation_text,
    read_golden,
)
from tests.replay.index import write_table
from tests.replay.shelf import EXPECTATION, SHELF
from tests.replay.situations import BY_NAME, SITUATIONS, Situation
from tests.replay.stretches import Stretch
from tests.replay.truth_facts import facts_of

DEVICE = "made by tests/replay/making.py"
NOT_REAL = "Synthetic data: no real insulator, line, coast or person."
CODE_APART_MAX = 1


def header_text(one: Situation) -> str:
    """What stands in the record's own free text."""
    return f"{NOT_REAL}\n{one.name}: {DEVICE} from {one.origin}.\nWhy: {one.why}.\n"


def writing_of(one: Situation, stretch: Stretch) -> Writing:
    """How a stretch is written."""
    description = stretch.labelled.recording.description
    if one.file_type is FileType.FLOAT32:
        flat = [
            replace(c, gain=1.0, offset=0.0, raw_min=None, raw_max=None)
            for c in description.channels
        ]
        description = replace(description, channels=tuple(flat))
    start_ns = stretch.start_utc_ns // 1000 * 1000
    return Writing(
        station="synthetic",
        device=DEVICE,
        signal=description,
        start_utc_ns=start_ns,
        trigger_utc_ns=start_ns,
        revision=one.revision,
        file_type=one.file_type,
        quality=stretch.quality,
        header_text=header_text(one),
    )


def samples_of(one: Situation, stretch: Stretch, block: SampleBlock) -> np.ndarray:
    """Codes, or single-precision mA and kV where the format holds those."""
    if one.file_type is not FileType.FLOAT32:
        return block.samples
    channels = stretch.labelled.recording.description.channels
    scale = np.array([c.gain for c in channels]), np.array([c.offset for c in channels])
    return np.asarray(block.samples * scale[0] + scale[1], dtype=np.float32)


def files_of(one: Situation, stretches: Sequence[Stretch]) -> dict[str, bytes]:
    """Every file of a recording by its path below the shelf."""
    if len(stretches) == 1 and not one.single:
        return _pair(one, stretches[0])
    names = [f"{one.name}.cff"]
    if len(stretches) > 1:
        names = [f"{one.name}/{number:02}.cff" for number in range(1, len(stretches) + 1)]
    return {name: _single(one, stretch) for name, stretch in zip(names, stretches, strict=True)}


def _single(one: Situation, stretch: Stretch) -> bytes:
    (block,) = stretch.labelled.recording.blocks()
    target = io.BytesIO()
    writing = writing_of(one, stretch)
    write_single_file(target, writing, samples_of(one, stretch, block), block.missing)
    return target.getvalue()


def _pair(one: Situation, stretch: Stretch) -> dict[str, bytes]:
    """Configuration, rows and header; a gap is a jump of the sample number."""
    writing, blocks = writing_of(one, stretch), list(stretch.labelled.recording.blocks())
    span = len(stretch.labelled.recording.samples)
    rows = [
        encode_rows(
            replace(writing, first_number=1 + block.counter),
            samples_of(one, stretch, block),
            block.missing,
            rows_before=block.counter,
            rows_total=span,
        )
        for block in blocks
    ]
    count = sum(len(block.samples) for block in blocks)
    return {
        f"{one.name}.cfg": configuration_text(writing, count),
        f"{one.name}.dat": b"".join(rows),
        f"{one.name}.hdr": header_text(one).replace("\n", "\r\n").encode(),
    }


def expectation_of(one: Situation, stretches: Sequence[Stretch], shelf: Path) -> Expectation:
    """Facts of the truth; golden values as they stand in the file, if there is one."""
    path = shelf / f"{one.name}{EXPECTATION}"
    description = stretches[0].labelled.recording.description
    return Expectation(
        name=one.name,
        insulator=one.insulator or description.channels[0].name,
        expected=one.expected,
        flags=one.flags,
        no_flags=one.no_flags,
        facts=facts_of(stretches),
        golden=read_golden(path),
    )


def make(one: Situation, shelf: Path) -> int:
    """Writes a recording and its expectation; returns the bytes of the recording."""
    stretches = one.make()
    files = files_of(one, stretches)
    text = expectation_text(expectation_of(one, stretches, shelf))
    shutil.rmtree(shelf / one.name, ignore_errors=True)
    for name, content in files.items():
        (shelf / name).parent.mkdir(parents=True, exist_ok=True)
        (shelf / name).write_bytes(content)
    (shelf / f"{one.name}{EXPECTATION}").write_text(text, encoding="utf-8")
    return sum(len(content) for content in files.values())


def differing(one: Situation, shelf: Path) -> str:
    """How the files differ from what would be made now; "" where they hold the same."""
    made = files_of(one, one.make())
    for name in made:
        path = shelf / name
        if not path.is_file():
            return f"{name} is missing"
        if path.suffix not in (".cfg", ".cff"):
            continue
        expected = _rows(made[name], made.get(f"{one.name}.dat", b""), name)
        stored = _rows(path.read_bytes(), _beside(path), name)
        if expected.shape != stored.shape:
            return f"{name}: {stored.shape} samples, {expected.shape} are made"
        apart = float(np.abs(expected - stored).max(initial=0.0))
        if apart > CODE_APART_MAX:
            return f"{name}: samples differ by up to {apart:g}"
    return ""


def _beside(path: Path) -> bytes:
    return path.with_suffix(".dat").read_bytes() if path.suffix == ".cfg" else b""


def _rows(configuration: bytes, rows: bytes, name: str) -> np.ndarray:
    record: Record
    if name.endswith(".cff"):
        record = read_single_file(configuration, name=name)
    else:
        record = read_pair(configuration, rows, name=name)
    blocks = [b for b in feed([record], block_samples=65_536) if isinstance(b, SampleBlock)]
    return np.vstack([b.samples for b in blocks]).astype(np.float64)


def main(arguments: list[str] | None = None) -> int:
    """0 where all is made (or the same), 10 where `--check` found a difference."""
    parser = argparse.ArgumentParser(prog="python -m tests.replay.making")
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(BY_NAME))
    parser.add_argument("--check", action="store_true", help="write nothing")
    chosen = parser.parse_args(arguments)
    unknown = [name for name in chosen.names if name not in BY_NAME]
    if unknown:
        parser.error(f"no situation {unknown[0]!r}; there are {', '.join(BY_NAME)}")
    wanted = [BY_NAME[name] for name in chosen.names] or list(SITUATIONS)
    faults = 0
    for one in wanted:
        if chosen.check:
            found = differing(one, SHELF)
            faults += bool(found)
            print(f"{one.name:<26} {found or 'the same'}", flush=True)
        else:
            print(f"{one.name:<26} {make(one, SHELF):>9,} bytes", flush=True)
    if not chosen.check:
        write_table(SHELF)
    return 10 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
