"""Clocks, spreads and processes of their own, for measuring on a machine that others use too."""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

TOP = Path(__file__).resolve().parent.parent.parent


@dataclass(frozen=True, slots=True)
class Spread:
    """Lowest, median and highest of some measurements."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class Figure:
    """One line of the report. target: what it should reach, in words; "" where there is none."""

    part: str
    name: str
    unit: str
    spread: Spread
    target: str = ""


def spread(measured: Sequence[float]) -> Spread:
    """Of at least one measurement."""
    return Spread(min(measured), statistics.median(measured), max(measured))


def figure(part: str, name: str, unit: str, measured: Sequence[float], target: str = "") -> Figure:
    """A line of some measurements."""
    return Figure(part, name, unit, spread(measured), target)


def cpu_s(work: Callable[[], object]) -> float:
    """Processor time of this process for one run [s]; what others do on the machine is left out,
    except that they slow down a shared cache."""
    begun = time.process_time()
    work()
    return time.process_time() - begun


def alone(arguments: Sequence[str]) -> dict[str, Any]:
    """What `python -m tests.bench.alone` says of itself with these arguments."""
    begun = time.time()
    answer = subprocess.run(
        [sys.executable, "-m", "tests.bench.alone", *arguments, "--begun", repr(begun)],
        cwd=TOP,
        env={**os.environ, **ONE_THREAD},
        capture_output=True,
        text=True,
        check=True,
    )
    return dict(json.loads(answer.stdout))


ONE_THREAD = dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
"""Linear algebra on one thread: a share of one core is what is measured."""
