"""`seafret-edge run` as a process: its journal can be awaited, and it never outlives its test."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from edge.clock import Clock

ROOT = Path(__file__).parents[3]
END_S = 60.0


@contextmanager
def launched(settings: Path, *more: str) -> Iterator[subprocess.Popen[str]]:
    """The process while the block runs."""
    command = [sys.executable, "-m", "edge", "run", "--settings", str(settings), *more]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT
    )
    with process:
        try:
            yield process
        finally:
            process.kill()


def await_line(process: subprocess.Popen[str], words: str) -> str:
    """The next line of its journal that holds these words."""
    assert process.stderr is not None
    said = []
    for line in process.stderr:
        said.append(line)
        if words in line:
            return line
    raise AssertionError(f"the daemon ended without saying {words!r}: {said}")


def ended(process: subprocess.Popen[str], number: int | None = None) -> tuple[int, str]:
    """Exit code and what its journal said since, after a signal or of itself."""
    if number is not None:
        process.send_signal(number)
    _, said = process.communicate(timeout=END_S)
    return process.returncode, said


def clock_file(folder: Path, rate: float) -> str:
    """A clock that begins now and runs so fast."""
    real_us = Clock().utc_us()
    plain = {"rate": rate, "real_origin_us": real_us, "shown_origin_us": real_us}
    (folder / "clock.json").write_text(json.dumps(plain))
    return str(folder / "clock.json")
