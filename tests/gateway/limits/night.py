"""A stored night of one unit: three bursts of arcing, and what the unit said of them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from edge.decide.evaluation import decision_order, step
from edge.decide.state import initial
from edge.quantities import State
from edge.records import ConditionChange, IntervalRow, Stream
from tests.gateway.build import MINUTE_US, START_US, health, interval, weather
from tests.gateway.limits.build import INSULATORS, plan

HOURS = 10
BURSTS = ((30, 50, 20), (200, 260, 300), (420, 422, 9))
"""First minute, last minute, arcing half-cycles a minute of `old-post`."""


def row(minute: int, insulator: str) -> IntervalRow:
    count = next((n for start, end, n in BURSTS if start <= minute < end), 0)
    count = count if insulator == "old-post" else 0
    return interval(
        minute,
        insulator,
        state=State.ARCING_SPARSE if count else State.WET,
        arcing_halfcycles=count,
        arcing_peak_ua=20_000 if count else 0,
        arc_pulses=(count, 0, 0, 0, 0),
        first_arc_us=0 if count else None,
        last_arc_us=1_000_000 if count else None,
        flags=(),
        calibration="",
    )


def night() -> list[Any]:
    rows = [row(minute, one) for minute in range(60 * HOURS) for one in INSULATORS]
    # Seconds of the worst minute besides: they are never added up.
    seconds = [
        replace(
            row(200, "old-post"),
            span="ten-seconds",
            start_us=START_US + 200 * MINUTE_US + tens * 10_000_000,
            duration_us=10_000_000,
            arcing_halfcycles=50,
        )
        for tens in range(6)
    ]
    others = [one(minute) for minute in range(60 * HOURS) for one in (weather, health)]
    return sorted([*rows, *seconds, *others], key=decision_order)


def changes_of(rows: list[Any]) -> list[ConditionChange]:
    """What the unit itself says of the night, with its own limits."""
    state, said = initial(plan(None)), []
    for one in rows:
        state, more = step(state, one, plan(None))
        said += more
    return said


def streams() -> dict[Stream, list[Any]]:
    """The night as it comes to the gateway."""
    rows = night()
    return {
        Stream.INTERVAL: [one for one in rows if one.kind == "interval"],
        Stream.WEATHER: [one for one in rows if one.kind == "weather"],
        Stream.HEALTH: [one for one in rows if one.kind == "health"],
        Stream.ALARM: changes_of(rows),
    }
