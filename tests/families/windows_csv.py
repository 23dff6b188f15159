"""Reads `windows.csv`, so that any program that writes this file can be judged."""

from __future__ import annotations

import csv
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from edge.quantities import State
from tests.families.labelled import Floats, Recording
from tests.families.outcome import Outcome, WindowOutcome

COUNTS = (
    "halfcycles",
    "arcing_positive",
    "arcing_negative",
    "doubtful_halfcycles",
    "spike_halfcycles",
    "arcing_charge_c",
)


def read_windows(path: Path, recording: Recording, insulator: str) -> Outcome:
    """The windows of one insulator, times turned into samples of the recording's counter.

    Half-cycles are then scored from the counts of each window; no probability, no calibration.
    ValueError where a column is absent, or the insulator has no row.
    """
    with path.open(newline="", encoding="utf-8") as lines:
        rows = [row for row in csv.DictReader(lines) if row["insulator"] == insulator]
    if not rows:
        raise ValueError(f"{path.name}: no row of insulator {insulator!r}; write its windows")
    absent = [name for name in (*COUNTS, "start", "seconds", "state") if name not in rows[0]]
    if absent:
        raise ValueError(f"{path.name}: column {absent[0]!r} is absent; all of {COUNTS} are needed")
    rate_hz = recording.description.rate_hz
    start_s = np.array([_seconds_after(row["start"], recording.start_utc_ns) for row in rows])
    start = start_s * rate_hz
    end = start + np.array([float(row["seconds"]) for row in rows]) * rate_hz
    count = [np.array([float(row[name] or 0) for row in rows]) for name in COUNTS]
    states = tuple(State(row["state"]) for row in rows)
    return Outcome(WindowOutcome(start, end, states, *count))


def _seconds_after(stamp: str, start_utc_ns: int) -> float:
    """Seconds from the recording's start to an RFC 3339 time."""
    at = datetime.fromisoformat(stamp)
    whole = round(at.replace(microsecond=0).timestamp())
    return (whole * 10**9 + at.microsecond * 1000 - start_utc_ns) / 1e9


def write_windows(path: Path, insulator: str, recording: Recording, said: WindowOutcome) -> None:
    """The columns that `read_windows` needs; lets a twin be judged through the file."""
    with path.open("w", newline="", encoding="utf-8") as target:
        writer = csv.writer(target)
        writer.writerow(("insulator", "start", "seconds", "state", *COUNTS))
        for index, state in enumerate(said.state):
            writer.writerow(
                (
                    insulator,
                    _stamp(recording, float(said.start[index])),
                    f"{(said.end[index] - said.start[index]) / recording.description.rate_hz:.6f}",
                    state.value,
                    *(float(counts[index]) for counts in _counts(said)),
                )
            )


def _counts(said: WindowOutcome) -> tuple[Floats, ...]:
    return (
        said.halfcycles,
        said.arcing_positive,
        said.arcing_negative,
        said.doubtful,
        said.spike,
        said.arcing_charge_c,
    )


def _stamp(recording: Recording, position: float) -> str:
    micros = round(recording.start_utc_ns / 1000 + position / recording.description.rate_hz * 1e6)
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=micros)
    return at.strftime("%Y-%m-%dT%H:%M:%S.%fZ")
