"""A gateway's own raw envelopes, one a line as units sent them, through `decide` alone.

Two orders. Event order: rows by their ends, as if everything had come in time; what the unit itself
decided on. Arrival order: rows as the lines come; one that comes behind a later row of its kind is
late and changes nothing, as at a receiver that decides at once.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import DecisionPlan, WatchedInsulator, bind
from edge.decide.evaluation import DecidedRecord, step
from edge.decide.state import initial
from edge.records import ConditionChange, HealthRow, IntervalRow, WeatherRow
from edge.settings import Settings, decision_plan
from edge.version import __version__
from edge.wire import Refused, body_line, read_batch, read_checked
from gateway.replay.passing_over import decided_over
from gateway.replay.results import ResultFault
from gateway.replay.rows_run import RESULTS, watched_spans, write_result
from gateway.replay.unit_rows import unit_rows
from gateway.replay.watched import Span

ENDING = ".jsonl"
EVENT, ARRIVAL = "event", "arrival"

ROWS_MAX = 5_000_000
"""Rows held at once; a longer feed is refused: let a history take it in and replay its rows."""


@dataclass(frozen=True, slots=True)
class EnvelopeRun:
    """What came of a feed. duplicates: lines that had come before. refused: lines of the file that
    are no envelopes, and records in them that cannot be read, with why."""

    rows: int
    events: int
    duplicates: int
    refused: tuple[str, ...]


@dataclass(slots=True)
class _Taken:
    """Rows of one unit in the order in which they came."""

    unit: str
    rows: list[DecidedRecord]
    duplicates: int
    refused: list[str]
    calibrations: set[str]


def replay_envelopes(
    path: Path, out: Path, order: str, settings: Settings | None, rate_hz: float | None
) -> EnvelopeRun:
    """Decides into the folder `out`. Raises ResultFault where the file holds no row, or rows of
    several units; SettingsError, OSError."""
    with path.open("rb") as stream:
        taken = _taken(stream, path.name)
        stream.seek(0)
        digest = sha256(stream.read()).hexdigest()
    names = tuple(sorted({one.insulator for one in taken.rows if isinstance(one, IntervalRow)}))
    plan = _plan(names, settings, rate_hz)
    unit = unit_rows(taken.rows, names)
    if order == ARRIVAL:
        changes = tuple(_as_they_came(taken.rows, plan))
    else:
        changes = decided_over(initial(plan), unit, plan).changes
    watched: dict[str, tuple[Span, ...]] = {
        name: watched_spans(rows) for name, rows in unit.insulators.items()
    }
    manifest = {
        "kind": "envelopes",
        "software": f"seafret {__version__}",
        "settings_sha": plan.settings_sha,
        "settings_given": settings is not None,
        "settings": {} if settings is None else settings.model_dump(mode="json"),
        "unit": taken.unit,
        "order": order,
        "rate_hz": rate_hz,
        "inputs": [{"name": path.name, "sha256": digest}],
        "insulators": [one for one in names if one in plan.insulators],
        "calibrations": sorted(taken.calibrations),
        "counts": {
            "rows": len(taken.rows),
            "events": len(changes),
            "duplicates": taken.duplicates,
            "refused": len(taken.refused),
        },
        "refused": taken.refused,
    }
    out.mkdir(parents=True, exist_ok=True)
    lines = b"".join(body_line(one) + b"\n" for one in changes)
    (out / f"{RESULTS[0]}.part").write_bytes(lines)
    write_result(out, manifest, watched)
    return EnvelopeRun(len(taken.rows), len(changes), taken.duplicates, tuple(taken.refused))


def _plan(names: tuple[str, ...], settings: Settings | None, rate_hz: float | None) -> DecisionPlan:
    if settings is not None:
        return decision_plan(settings, rate_hz)
    sha = sha256(json.dumps(names).encode()).hexdigest()[:16]
    return bind(DEFAULT_ALARMS, [WatchedInsulator(one) for one in names], sha, rate_hz)


def _as_they_came(rows: list[DecidedRecord], plan: DecisionPlan) -> Iterator[ConditionChange]:
    state = initial(plan)
    for row in rows:
        if not isinstance(row, IntervalRow) or row.insulator in plan.insulators:
            state, said = step(state, row, plan)
            yield from said


def _taken(lines: Iterator[bytes], where: str) -> _Taken:
    taken = _Taken("", [], 0, [], set())
    upto: dict[tuple[str, str, str], int] = {}
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            _take(taken, line, upto, f"{where}: line {number}")
        except Refused as fault:
            taken.refused.append(f"{where}: line {number}: {fault}")
    if not taken.rows:
        raise ResultFault(f"{where}: no row in it; a line for each envelope as units send them")
    return taken


def _take(taken: _Taken, line: bytes, upto: dict[tuple[str, str, str], int], where: str) -> None:
    batch = read_batch(line)
    if taken.unit not in ("", batch.unit):
        raise ResultFault(
            f"{where}: unit {batch.unit} behind {taken.unit}; one unit a file: part them by unit"
        )
    taken.unit = batch.unit
    key = (batch.unit, batch.epoch, batch.stream.value)
    for one in batch.lines:
        if one.seq <= upto.get(key, 0):
            taken.duplicates += 1
            continue
        upto[key] = one.seq
        try:
            record = read_checked(one.body)
        except Refused as fault:
            taken.refused.append(f"{where}, number {one.seq}: {fault}")
            continue
        if isinstance(record, IntervalRow | WeatherRow | HealthRow):
            taken.rows.append(record)
        if isinstance(record, IntervalRow) and record.calibration:
            taken.calibrations.add(record.calibration)
    if len(taken.rows) > ROWS_MAX:
        raise ResultFault(f"{where}: more than {ROWS_MAX} rows; replay them from a history")
