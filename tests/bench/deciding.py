"""What one row costs to decide on, and one record to write and read as its line."""

from __future__ import annotations

from edge.decide import evaluation
from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import WatchedInsulator, bind
from edge.decide.state import initial
from edge.quantities import State
from edge.records import IntervalRow
from edge.wire import body_line, read_batch, read_record
from tests.bench.timing import Figure, cpu_s, figure
from tests.gateway.build import interval, message

INSULATORS = 4
ROWS_A_MESSAGE = 20


def decide(rows: int, rounds: int) -> list[Figure]:
    """Microseconds a row, for a dry night and for a night of arcs."""
    found = []
    for name, changes in (("quiet", QUIET), ("busy", BUSY)):
        story = [_row(n, changes) for n in range(rows)]
        times = [1e6 * cpu_s(lambda story=story: _decided(story)) / rows for _ in range(rounds)]  # type: ignore[misc]
        found.append(figure("decide", f"time a row, {name}", "us", times))
    return found


def lines(rows: int, rounds: int) -> list[Figure]:
    """Microseconds a record: to its canonical line, back, and back out of messages of twenty."""
    story = [_row(n, BUSY) for n in range(rows)]
    bodies = [body_line(row) for row in story]
    batches = [
        message(at + 1, story[at : at + ROWS_A_MESSAGE]) for at in range(0, rows, ROWS_A_MESSAGE)
    ]
    works = {
        "record to line": lambda: [body_line(row) for row in story],
        "line to record": lambda: [read_record(body) for body in bodies],
        "message to lines": lambda: [read_batch(batch) for batch in batches],
    }
    return [
        figure("lines", f"{name}", "us", [1e6 * cpu_s(work) / rows for _ in range(rounds)])
        for name, work in works.items()
    ]


QUIET: dict[str, object] = {
    "state": State.DRY,
    "state_us": (60_000_000, 0, 0, 0, 0, 0),
    "arcing_halfcycles": 0,
    "arcing_positive": 0,
    "arcing_negative": 0,
    "arc_pulses": (0, 0, 0, 0, 0),
    "rms_na": 80_000,
    "h1_na": 80_000,
    "in_phase_na": 2_000,
    "quadrature_na": 80_000,
    "flags": (),
}

BUSY: dict[str, object] = {
    "state": State.ARCING_SPARSE,
    "state_us": (0, 0, 60_000_000, 0, 0, 0),
    "arcing_peak_ua": 90_000,
    "peak_ua": 90_000,
    "arc_pulses": (200, 100, 20, 0, 0),
    "first_arc_us": 100_000,
    "last_arc_us": 59_000_000,
    "flags": (),
}


def _row(number: int, changes: dict[str, object]) -> IntervalRow:
    return interval(number // INSULATORS, f"A{number % INSULATORS}", **changes)


def _decided(story: list[IntervalRow]) -> int:
    watched = [WatchedInsulator(id=f"A{number}") for number in range(INSULATORS)]
    plan = bind(DEFAULT_ALARMS, watched, "bench", 10_000.0)
    state, changed = initial(plan), 0
    for row in story:
        state, changes = evaluation.step(state, row, plan)
        changed += len(changes)
    return changed
