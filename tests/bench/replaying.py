"""Replay end to end against the loop; one process against two; memory against length."""

from __future__ import annotations

import functools
import os
from pathlib import Path

from gateway.replay.run import Request, replay
from tests.bench import loop, whole_loop
from tests.bench.agreement import compare
from tests.bench.recordings import START_UTC_NS, Size, Surface, write
from tests.bench.timing import Figure, alone, cpu_s, figure

PART = "replay"
TARGET = "3 or more, then 5"

HALFCYCLES_ALIKE_MIN = 0.98
"""Least share of the arcing half-cycles that a loop doing the same job has in common with ours."""


def against_loop(folder: Path, size: Size, rounds: int) -> list[Figure]:
    """How many times as fast as the loops, for each surface; values are compared first."""
    found: list[Figure] = []
    for surface in Surface:
        path = write(folder, surface, size, seed=1)
        ours, short, whole = (folder / f"{one}-{surface}" for one in ("ours", "short", "whole"))
        works = (
            functools.partial(replay, Request((path,)), ours),
            functools.partial(loop.run, path, short),
            functools.partial(whole_loop.run, path, whole),
        )
        for work in works:
            work()
        compare(ours, short)
        alike = compare(ours, whole, halfcycles_alike_min=HALFCYCLES_ALIKE_MIN)["halfcycles_alike"]
        times = [[cpu_s(work) for work in works] for _ in range(rounds)]
        name = f"{surface}, {size.currents} currents"
        whole_ratios = [third / first for first, _, third in times]
        found.append(figure(PART, f"whole loop / ours, {name}", "times", whole_ratios, TARGET))
        short_ratios = [second / first for first, second, _ in times]
        found.append(figure(PART, f"short loop / ours, {name}", "times", short_ratios))
        speeds = [size.seconds / first for first, _, _ in times]
        found.append(figure(PART, f"signal / ours, {name}", "times", speeds))
        found.append(figure(PART, f"arcing half-cycles alike, {surface}", "share", [alike]))
    return found


def scaling(folder: Path, size: Size, rounds: int, records: int = 4) -> list[Figure]:
    """Two processes against one, by the clock on the wall, on a feed of some records."""
    path = write(folder, Surface.ARCING, size, seed=2)
    feed = repeated(path, folder / "feed", size, records)
    walls, extra, loads = [], [], []
    for _ in range(rounds):
        one, two = (alone(["replay", str(feed), str(folder / f"p{n}"), str(n)]) for n in (1, 2))
        for name in ("windows.csv", "intervals.csv", "events.jsonl"):
            assert (folder / "p1" / name).read_bytes() == (folder / "p2" / name).read_bytes()
        walls.append(one["wall_s"] / two["wall_s"])
        extra.append((two["cpu_s"] + two["workers_cpu_s"]) / one["cpu_s"])
        loads.append(os.getloadavg()[0])
    return [
        figure("scaling", "one / two processes, wall", "times", walls, "1.8 or more"),
        figure("scaling", "the same if the cores were ours alone", "times", [2 / e for e in extra]),
        figure("scaling", "processor time of two / of one", "times", extra),
        figure("scaling", "load of the machine, one is one core", "", loads),
    ]


def memory(folder: Path, size: Size, longer: Size) -> list[Figure]:
    """Peak resident memory of a replay of a short and a long recording."""
    found = {}
    for each in (size, longer):
        path = write(folder, Surface.ARCING, each, seed=3)
        found[each.seconds] = alone(["replay", str(path), str(folder / "m"), "1"])["peak_mb"]
    lines = [figure("memory", f"peak for {s} s", "MB", [mb]) for s, mb in found.items()]
    ratio = found[longer.seconds] / found[size.seconds]
    return [*lines, figure("memory", "peak of long / short", "times", [ratio], "1.0: flat")]


def repeated(path: Path, folder: Path, size: Size, records: int) -> Path:
    """A folder of records that continue each other, all with the same samples on the disk."""
    folder.mkdir(parents=True, exist_ok=True)
    text = path.read_text()
    stamp = _stamp(START_UTC_NS)
    assert stamp in text
    for number in range(records):
        later = _stamp(START_UTC_NS + number * size.seconds * 10**9)
        (folder / f"part-{number}.cfg").write_text(text.replace(stamp, later))
        rows = folder / f"part-{number}.dat"
        rows.unlink(missing_ok=True)
        rows.hardlink_to(path.with_suffix(".dat"))
    return folder


def _stamp(utc_ns: int) -> str:
    """A time as a configuration writes it, whole seconds."""
    from datetime import UTC, datetime

    return datetime.fromtimestamp(utc_ns // 10**9, UTC).strftime("%d/%m/%Y,%H:%M:%S.000000")
