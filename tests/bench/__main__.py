"""How fast, measured in one run on one machine.

    python -m tests.bench                     everything, about five minutes
    python -m tests.bench --seconds 60        shorter recordings
    python -m tests.bench --only live stages  some parts
    python -m tests.bench --json > bench.json

How to read it. Each figure is measured some rounds; min, median and max are shown, and where two
things are compared they take turns, so that a busy machine hurts both. Times are processor time of
the process unless the line says wall. Look at the median; where min and max lie far apart the
machine was busy and the run says little.

replay   how many times as much processor time a loop of numpy and scipy takes for the same
         recording. Reading, measuring and writing are in all; before anything is timed the results
         are compared, and a run in which they differ is an error. `whole loop / ours`: a loop that
         does the same job (tests/bench/whole_loop.py), following the mains and telling arcs by what
         they are, with the same arcing half-cycles as a result. `short loop / ours`: one that
         spares itself both (tests/bench/loop.py): fixed windows, an arc by one ratio. `signal /
         ours`: seconds of recording replayed in one second.
scaling  the same feed with one and with two processes, by the wall; what the wall could say at most
         if nobody else used the two cores (twice the processor time of one over that of two). The
         wall says little when the load of the machine, which stands below it, is above 2.
memory   highest resident memory of a replay in a process of its own, short and long recording.
live     four currents and a voltage as frames of the serial link, read in pieces: share of one
         core (framing, measuring, deciding; no disk, no network), time from the last sample of a
         window to its result (in the signal's time, with the computing of that piece), highest
         memory of a process that imports the edge alone, and from the start of that process to its
         first window if the signal begins when it is ready.
ingest   minute rows in messages of twenty into an SQLite history, two hundred rows a commit; the
         time a row takes when the history is four times as long against the beginning.
decide   one minute row through the alarms; lines: one record to its canonical line and back.
wear     bytes that reach a unit's flash, a row and a year, for four insulators as shipped; how that
         is counted stands in tests/bench/wear.py. As root on a file system of its own, else only
         what the process says of itself.
stages   where a replay spends its time, by the profiler; passes: that time in units of one plain
         pass over the same samples (int16 in, float64 out), the least that any measure needs.
asking   seafret trend and seafret report of a site of twelve insulators with a year of minute rows,
         as commands; the figures behind them beside a straightforward pandas version, which reads
         the same rows from Parquet (compared before anything is timed); growth with the rows.
judging  a year of minute rows, all alarms decided again (rows at hand as columns; reading them is
         not in), beside a loop over a pandas frame with the arcing alarm alone; compared first.
spreading  two processes against one on units of a site and on recordings, workers warm; beside the
         wall, what the busier of the two took, which is what the wall says on an idle machine.
load     a fleet of real MQTT clients against a real broker and gateway: records a second, durable
         and receipted; a broker that comes back; a salt storm; publish to console. Longer and
         larger, or on PostgreSQL: python -m tests.bench.fleet --help.
keeping  bytes that an insulator-year takes as minutes that a unit sent, and thinned.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.bench.timing import ONE_THREAD, Figure

PARTS = (
    "replay", "scaling", "memory", "live", "ingest", "decide", "lines", "wear", "stages",
    "asking", "keeping", "judging", "spreading", "load",
)  # fmt: skip
PIECES_S = (0.025, 0.05, 0.1, 1.0)


def measured(parts: list[str], seconds: int, rounds: int, folder: Path) -> list[Figure]:
    """The figures of some parts, in the order of PARTS."""
    from tests.bench import (
        asking,
        deciding,
        judging_year,
        keeping,
        living,
        replaying,
        spreading_rows,
        stages,
        storing,
        wear,
    )
    from tests.bench.fleet import loads
    from tests.bench.fleet.stage import Size as Fleet
    from tests.bench.recordings import Size

    size = Size(seconds)
    live_size = Size(max(5, min(seconds, 60)))
    rows = max(500, min(20 * seconds, 5000))
    works: dict[str, Callable[[Path], list[Figure]]] = {
        "replay": lambda at: (
            replaying.against_loop(at / "4", size, rounds)
            + replaying.against_loop(at / "3", Size(seconds, 3), rounds)
        ),
        "scaling": lambda at: replaying.scaling(at, size, rounds),
        "memory": lambda at: replaying.memory(at, Size(max(1, seconds // 5)), size),
        "live": lambda at: living.cost(at, live_size, rounds, PIECES_S),
        "ingest": lambda at: storing.ingest(at, rows, rounds),
        "decide": lambda at: deciding.decide(4 * rows, rounds),
        "lines": lambda at: deciding.lines(rows, rounds),
        "wear": lambda at: wear.wear(at, max(10, min(seconds, 240)), rounds),
        "stages": lambda at: stages.profile(at, size),
        "asking": lambda at: asking.asking(at, rounds),
        "keeping": keeping.keeping,
        "spreading": lambda at: spreading_rows.spreading(at, 8, seconds, rounds),
        "load": lambda at: loads.load(at, Fleet(20, 5 * min(seconds, 200)), seconds / 30, seconds),
        "judging": lambda at: judging_year.judging(365 if seconds > 60 else 30, 4, rounds),
    }
    found: list[Figure] = []
    for part in PARTS:
        if part in parts:
            print(f"bench: {part} ...", file=sys.stderr, flush=True)
            with tempfile.TemporaryDirectory(dir=folder) as inside:
                found += works[part](Path(inside))
    return found


def main(arguments: list[str] | None = None) -> int:
    """Prints the report; the exit code is 0."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description="How fast.")
    parser.add_argument("--seconds", type=int, default=600, help="of each recording (600)")
    parser.add_argument("--rounds", type=int, default=3, help="of each measurement (3)")
    parser.add_argument("--only", nargs="+", choices=PARTS, default=list(PARTS), metavar="PART")
    parser.add_argument("--json", action="store_true", help="for a script")
    asked = parser.parse_args(arguments)
    from edge.allocator import keep_freed_memory
    from tests.bench.report import as_json, table

    keep_freed_memory()  # as the commands do
    with tempfile.TemporaryDirectory() as folder:
        figures = measured(asked.only, asked.seconds, asked.rounds, Path(folder))
    print(as_json(figures) if asked.json else table(figures), end="")
    return 0


if __name__ == "__main__":
    os.environ.update(ONE_THREAD)  # before numpy is first imported
    sys.exit(main())
