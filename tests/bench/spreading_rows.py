"""Two processes against one: stored rows unit by unit, and recordings."""

from __future__ import annotations

import os
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from edge.records import Stream
from gateway.history.sqlite_store import SqliteHistory
from gateway.replay.feeds import opened_feed
from gateway.replay.player import stretches
from gateway.replay.rows_run import RowsRequest
from gateway.replay.run import plans_for
from gateway.replay.site_run import UnitTask, decided_unit
from gateway.replay.spreading import OwnProcesses, Workers
from gateway.replay.stored_units import wanted_rows
from gateway.replay.unit_rows import row_of
from gateway.replay.walking import WalkTask, leave, tasks_of, walked
from tests.bench.recordings import Size, Surface, write
from tests.bench.replaying import repeated
from tests.bench.row_years import year_of
from tests.bench.timing import Figure, figure
from tests.gateway.build import commit, key

SITE = "shingle-spit"
INSULATORS = 4
TARGET = "1.8 or more"


@dataclass(frozen=True, slots=True)
class Spent:
    """By a task: processor time, and whose."""

    cpu_s: float
    pid: int


def unit_spent(task: UnitTask) -> Spent:
    begun_s = time.process_time()
    decided_unit(task)
    return Spent(time.process_time() - begun_s, os.getpid())


def walk_spent(task: WalkTask) -> Spent:
    begun_s = time.process_time()
    walked(task)
    return Spent(time.process_time() - begun_s, os.getpid())


def ready(_: int) -> None:
    """So that the start of a worker is not counted."""


def spreading(
    folder: Path, days: int, seconds: int, rounds: int, repeats: int = 24
) -> list[Figure]:
    """repeats: so many times the unit is decided on, for a run that is long enough to time."""
    data = _history(folder / "history", days)
    found = _units(data, folder, rounds, repeats)
    size = Size(seconds)
    path = write(folder / "recording", Surface.ARCING, size, seed=2)
    feed = repeated(path, folder / "feed", size, records=8)
    return [*found, *_recordings(feed, rounds)]


def _history(data: Path, days: int) -> Path:
    """One unit; it is decided on again and again."""
    writer = SqliteHistory(data).writer(SITE)
    rows = []
    for number in range(INSULATORS):
        own = year_of(number, days)
        rows += [row_of(f"A{number}", cells, own.flag_words) for cells in own.matrix().tolist()]
    rows.sort(key=lambda row: row.start_us)
    writer.append(commit(1, rows, key(Stream.INTERVAL, f"{SITE}.m1")))
    assert writer.pack(1 << 61) > 0  # as the daily thinning leaves whole weeks
    writer.close()
    return data


def _units(data: Path, folder: Path, rounds: int, repeats: int) -> list[Figure]:
    reader = SqliteHistory(data).reader(SITE)
    wanted = wanted_rows(reader, None, None, None)
    reader.close()
    tasks = [
        UnitTask(str(data), str(folder / f"out-{again}"), RowsRequest(SITE, wanted))
        for again in range(repeats)
    ]
    return _ratios("rows of units", tasks, unit_spent, rounds)


def _recordings(feed: Path, rounds: int) -> list[Figure]:
    with opened_feed([feed]) as opened:
        plans, _ = plans_for(opened, None)
        cut = stretches(plans.description.rate_hz, opened.items(), ticks_each=1)
        paths = tuple(one.path for one in opened.opened)
    tasks = list(tasks_of(cut, WalkTask(paths, None, 262_144, plans, (), False)))
    return _ratios("recordings", tasks, walk_spent, rounds)


def _ratios(name: str, tasks: Sequence[object], work: object, rounds: int) -> list[Figure]:
    walls, alone = [], []
    with OwnProcesses(1) as one, OwnProcesses(2) as two:
        for crew in (one, two):
            list(crew.results(ready, range(8)))
            _timed(crew, tasks, work)  # the files are in the system's cache then
        for _ in range(rounds):
            first_s, spent = _timed(one, tasks, work)
            second_s, shared = _timed(two, tasks, work)
            walls.append(first_s / second_s)
            longest = max(_by_worker(shared).values())
            alone.append(sum(part.cpu_s for part in spent) / longest)
    leave()
    return [
        figure("spreading", f"one / two processes, {name}, wall", "times", walls, TARGET),
        figure("spreading", "by the processor time of the busier", "times", alone, TARGET),
        figure("spreading", f"tasks, {name}", "", [len(tasks)]),
    ]


def _timed(crew: Workers, tasks: Sequence[object], work: object) -> tuple[float, list[Spent]]:
    begun_s = time.monotonic()
    spent = list(crew.results(work, tasks))  # type: ignore[arg-type]
    return time.monotonic() - begun_s, spent  # type: ignore[return-value]


def _by_worker(spent: Sequence[Spent]) -> dict[int, float]:
    found: dict[int, float] = defaultdict(float)
    for one in spent:
        found[one.pid] += one.cpu_s
    return found
