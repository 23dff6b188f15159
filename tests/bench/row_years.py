"""A year of minute rows by columns, seeded: dry days, wet nights, arcs in some, few gaps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from edge.quantities import STATES, State
from edge.records import WeatherRow
from gateway.history.chunks import ABSENT, WEEK_US, Ints
from gateway.replay.unit_rows import COVER, JUDGED, MOMENTS, InsulatorRows

MINUTE_US = 60_000_000
DAY_MINUTES = 1440
START_US = 1_735_776_000_000_000 // WEEK_US * WEEK_US
RATE_HZ = 10_000
STRONG_SHARE = 0.02
"""Of arcing minutes, those with strong arcs."""


@dataclass(frozen=True, slots=True)
class Habit:
    """wet_nights: share of nights with fog. arcing_nights: share of those in which it arcs."""

    wet_nights: float = 0.5
    arcing_nights: float = 0.4


def year_of(seed: int, days: int = 365, habit: Habit = Habit()) -> InsulatorRows:
    """Columns of one insulator. About one minute in twenty arcs."""
    draw = np.random.Generator(np.random.PCG64(seed))
    minutes = days * DAY_MINUTES
    wet, arcing = _nights(draw, days, habit)
    state = np.full(minutes, STATES.index(State.DRY))
    state[wet] = STATES.index(State.WET)
    state[arcing] = STATES.index(State.ARCING_SPARSE)
    columns = {name: np.zeros(minutes, np.int64) for name in JUDGED}
    at = np.arange(minutes, dtype=np.int64)
    columns["start_us"] = START_US + at * MINUTE_US
    columns["start_counter"] = at * 60 * RATE_HZ
    columns["duration_us"] = np.full(minutes, MINUTE_US)
    columns["live_us"] = columns["duration_us"]
    columns["state"] = state
    for place, name in enumerate(COVER):
        columns[name] = np.where(state == place, MINUTE_US, 0)
    count = int(arcing.sum())
    strong = draw.random(count) < STRONG_SHARE
    columns["arcing_halfcycles"][arcing] = 1 + draw.poisson(12, count)
    columns["arc_pulses_100ma"][arcing] = np.where(strong, 1 + draw.poisson(3, count), 0)
    columns["arcing_peak_ua"][arcing] = np.where(
        strong, 110_000, draw.integers(8_000, 60_000, count)
    )
    for name in MOMENTS:
        columns[name] = np.full(minutes, ABSENT)
    columns["first_arc_us"][arcing] = draw.integers(0, 30_000_000, count)
    columns["last_arc_us"][arcing] = draw.integers(30_000_000, 57_000_000, count)
    kept = draw.random(minutes) > 0.0005
    return InsulatorRows(columns, ((),)).chosen(kept)


def _nights(draw: np.random.Generator, days: int, habit: Habit) -> tuple[Ints, Ints]:
    """(minutes that are wet, minutes with arcs), as masks."""
    wet = np.zeros(days * DAY_MINUTES, np.bool_)
    arcing = wet.copy()
    for day in range(days - 1):
        if draw.random() > habit.wet_nights:
            continue
        dusk = day * DAY_MINUTES + int(draw.integers(1200, 1380))
        dawn = dusk + int(draw.integers(120, 600))
        wet[dusk:dawn] = True
        if draw.random() < habit.arcing_nights:
            begin = dusk + (dawn - dusk) // 4
            end = begin + (dawn - dusk) // 2
            arcing[begin:end] = draw.random(end - begin) < 0.7
    return wet, arcing  # type: ignore[return-value]


def weather_of(days: int = 365) -> tuple[WeatherRow, ...]:
    """A row a minute: humid nights, days that are dry for long enough now and then."""
    found = []
    for minute in range(days * DAY_MINUTES):
        hour = minute // 60 % 24
        dry_day = minute // DAY_MINUTES % 3 == 0
        humid = 8_800 if hour < 8 or hour > 18 else (5_500 if dry_day else 7_000)
        found.append(
            WeatherRow(
                start_us=START_US + minute * MINUTE_US, duration_us=MINUTE_US, rh_cpct=humid,
                rain_um=0,
            )
        )  # fmt: skip
    return tuple(found)


def weeks(rows: InsulatorRows) -> Iterator[InsulatorRows]:
    """Cut as the history keeps them."""
    week = rows.ends_us // WEEK_US
    edges = np.flatnonzero(np.diff(week)) + 1
    for piece in np.split(np.arange(len(rows)), edges):
        yield rows.chosen(piece)
