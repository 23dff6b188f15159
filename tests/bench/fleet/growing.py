"""What each question of the console costs as an insulator's rows grow from a day to ten years.

Ten years as they are kept: a year of minutes, and hourly rows before it.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from edge.records import Stream
from gateway.history.loaded import Columns
from gateway.history.sqlite_store import SqliteHistory
from tests.bench.fleet.stage import Size, Stage, staged
from tests.bench.timing import Figure, figure
from tests.gateway.build import MINUTE_US, START_US, commit, condition, epoch_start, interval, key

SITE, UNIT = "site-000", "site-000.m0"
DAY_MINUTES = 1440
DAY_US = DAY_MINUTES * MINUTE_US
HOUR_US = 60 * MINUTE_US
SPANS = {"a day": 1, "a month": 30, "a year": 365, "ten years": 3650}
MINUTES_KEPT_DAYS = 366
FROM, TO = "2026-11-24T00:00:00Z", "2026-11-25T00:00:00Z"
YEAR = "from=2025-11-25T00:00:00Z&to=2026-11-25T00:00:00Z"
QUESTIONS = {
    "fleet page": "/",
    "alarm list": "/alarms",
    "site page": f"/sites/{SITE}",
    "units page": "/units",
    "insulator page": f"/sites/{SITE}/insulators/A0",
    "sites, by the API": "/api/1/sites",
    "a day of rows": f"/api/1/sites/{SITE}/intervals?insulator=A0&from={FROM}&to={TO}&limit=1440",
    "exposure of a year": f"/api/1/sites/{SITE}/exposure?insulator=A0&{YEAR}",
    "journal of alarms": f"/api/1/sites/{SITE}/journal",
}


def growing(folder: Path, rounds: int, spans: dict[str, int] = SPANS) -> list[Figure]:
    """A figure for each question and length."""
    found: dict[str, list[Figure]] = {name: [] for name in QUESTIONS}
    for words, days in spans.items():
        at = folder / words.replace(" ", "-")
        _fill(at / "history", days)
        with _console(at) as stage:
            for name, path in QUESTIONS.items():
                stage.get(path)
                times = [_timed_ms(stage, path) for _ in range(rounds)]
                found[name].append(figure("growth", f"{name}, {words}", "ms", times))
    return [one for lines in found.values() for one in lines]


def _timed_ms(stage: Stage, path: str) -> float:
    begun_s = time.monotonic()
    stage.get(path)
    return 1000 * (time.monotonic() - begun_s)


@contextmanager
def _console(folder: Path) -> Iterator[Stage]:
    with staged(folder, Size(sites=1, units=1, crowds=1)) as stage:
        yield stage


def _fill(data: Path, days: int) -> None:
    history = SqliteHistory(data)
    writer = history.writer(SITE)
    rows = [interval(minute, "A0", flags=()) for minute in range(DAY_MINUTES)]
    writer.append(commit(1, [epoch_start(), *rows], key(Stream.INTERVAL, UNIT)))
    alarms = [condition(minute, subject="A0") for minute in range(4)]
    writer.append(commit(1, [epoch_start(), *alarms], key(Stream.ALARM, UNIT)))
    writer.close()
    _repeat(data / f"{SITE}.sqlite3", min(days, MINUTES_KEPT_DAYS) - 1)
    if days > MINUTES_KEPT_DAYS:
        _hours(history, days)


def _repeat(path: Path, days: int) -> None:
    """The same day again, that many days before."""
    db = sqlite3.connect(path)
    names = [row[1] for row in db.execute("PRAGMA table_info(interval)")]
    moved = {"seq": f"seq + {2 * DAY_MINUTES} * n", "start_us": f"start_us - {DAY_US} * n"}
    with db:
        db.execute(
            "WITH RECURSIVE back (n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM back WHERE n < ?) "
            f"INSERT INTO interval ({', '.join(names)}) "
            f"SELECT {', '.join(moved.get(name, name) for name in names)} FROM interval, back "
            "WHERE n <= ?",
            (max(1, days), days),
        )
    db.close()


def _hours(history: SqliteHistory, days: int) -> None:
    """Hourly rows before the minutes, as thinning leaves them in their place and size."""
    first_us = START_US - days * DAY_US
    start_us = np.arange(first_us, START_US - MINUTES_KEPT_DAYS * DAY_US, HOUR_US, dtype=np.int64)
    columns = {
        "start_us": start_us,
        "duration_us": np.full_like(start_us, HOUR_US),
        "rms_na": np.full_like(start_us, 3_000_000),
        "peak_ua": np.full_like(start_us, 12_000),
        "halfcycles": np.full_like(start_us, 360_000),
        "arcing_halfcycles": start_us // HOUR_US % 50,
    }
    loader = history.loader(SITE)
    with loader.together():
        loader.add_columns(Columns.INTERVAL, "A0", "csv", columns)
    loader.close()
