"""Rows a second into the history, and whether that holds as it grows."""

from __future__ import annotations

import time
from pathlib import Path

from edge.records import Record
from gateway.history.sqlite_store import SqliteHistory
from gateway.history.store import Commit
from gateway.ingest.intake import Arrival, Intake
from tests.bench.timing import Figure, figure
from tests.gateway.build import epoch_start, interval, message, topic

PART = "ingest"
SITE = "north-head"
ROWS_A_MESSAGE = 20
MESSAGES_A_COMMIT = 10


def ingest(folder: Path, rows: int, rounds: int) -> list[Figure]:
    """Four times `rows` rows of one stream, in messages of twenty; the first and last quarter."""
    rates, growths, seconds = [], [], []
    for number in range(rounds):
        quarters = _quarters(folder / f"history-{number}", rows)
        rates.append(4 * rows / sum(cpu for cpu, _ in quarters))
        seconds.append(4 * rows / sum(wall for _, wall in quarters))
        growths.append(quarters[3][0] / quarters[0][0])
    return [
        figure(PART, "rows a second, processor time", "rows/s", rates),
        figure(PART, "rows a second, durable, wall", "rows/s", seconds),
        figure(PART, "time a row, last quarter / first", "times", growths, "1.0: flat"),
    ]


def _quarters(folder: Path, rows: int) -> list[tuple[float, float]]:
    """(processor time, wall time) [s] of each quarter."""
    arrivals = _arrivals(4 * rows)
    intake = Intake(SqliteHistory(folder), [SITE], _nobody_listens)
    found = []
    each = len(arrivals) // 4
    for quarter in range(4):
        part = arrivals[quarter * each : (quarter + 1) * each]
        cpu_s, wall_s = time.process_time(), time.monotonic()
        for at in range(0, len(part), MESSAGES_A_COMMIT):
            intake.commit(part[at : at + MESSAGES_A_COMMIT], at_us=1)
        found.append((time.process_time() - cpu_s, time.monotonic() - wall_s))
    intake.close()
    return found


def _nobody_listens(site: str, commit: Commit) -> None:
    """The summary that a gateway would keep is not measured here."""


def _arrivals(rows: int) -> list[Arrival]:
    """Messages of minute rows of four insulators, in order of time; the first row begins the
    epoch."""
    records: list[Record] = [epoch_start()]
    records += [interval(n // 4, f"A{n % 4}") for n in range(1, rows)]
    return [
        Arrival(topic(), message(at + 1, records[at : at + ROWS_A_MESSAGE]), False, at_us=1)
        for at in range(0, rows, ROWS_A_MESSAGE)
    ]
