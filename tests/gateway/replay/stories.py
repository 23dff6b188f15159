"""Weeks of a unit told at random, with all that deciding must stand: arcs, silence, gaps, faults,
dark sources, dry air, late rows, ten-second rows, merged rows."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import DecisionPlan, WatchedInsulator, bind
from edge.decide.evaluation import DecidedRecord
from edge.quantities import STATES, State
from edge.records import HealthRow, IntervalRow, Letter, LineStatus, Span, WeatherRow
from tests.gateway.build import MINUTE_US, START_US, health, interval, weather

NAMES = ("A1", "A2", "B-3")
PLAN: DecisionPlan = bind(DEFAULT_ALARMS, [WatchedInsulator(one) for one in NAMES], "s", 10_000.0)
TEN_S_US = 10_000_000

_QUIET: dict[str, object] = {
    "arcing_halfcycles": 0, "arcing_positive": 0, "arcing_negative": 0,
    "arc_pulses": (0, 0, 0, 0, 0), "live_us": MINUTE_US, "flags": (),
    "first_arc_us": None, "last_arc_us": None, "silent_from_us": None,
}  # fmt: skip


def told(seed: int, minutes: int) -> list[DecidedRecord]:
    """All rows, in no order that matters."""
    chance = random.Random(seed)
    rows: list[DecidedRecord] = []
    for name in NAMES:
        rows += _insulator(chance, name, minutes)
    rows += _weather(chance, minutes)
    rows += _health(chance, minutes)
    chance.shuffle(rows)
    return rows


def _insulator(chance: random.Random, name: str, minutes: int) -> Iterator[IntervalRow]:
    mood, minute, shift_us = "dry", 0, chance.choice((0, 137_000))
    restless = chance.choice((0.003, 0.01, 0.05))  # how often its mood changes, a minute
    while minute < minutes:
        if chance.random() < restless:
            mood = chance.choice(("dry", "dry", "wet", "wet", "arcing", "lost", "dead", "gap"))
        took = chance.choice((1, 1, 1, 7)) if mood == "dry" else 1
        if mood != "gap":
            row = _minute(chance, name, minute, mood, took)
            yield replace(row, start_us=row.start_us + shift_us)
            if mood == "arcing" and chance.random() < 0.3:
                yield from _tens(chance, row)
            if chance.random() < 0.01:
                yield row  # once more, and late
        minute += took


def _minute(chance: random.Random, name: str, minute: int, mood: str, took: int) -> IntervalRow:
    state = {
        "dry": State.DRY, "wet": State.WET, "arcing": State.ARCING_SPARSE,
        "lost": State.UNKNOWN, "dead": State.DE_ENERGISED,
    }[mood]  # fmt: skip
    length_us = took * MINUTE_US
    row = interval(
        minute, name, **_QUIET, state=state, duration_us=length_us,
        state_us=tuple(length_us * (one is state) for one in STATES),
        span=Span.MINUTE if took == 1 else Span.MERGED,
    )  # fmt: skip
    if mood == "arcing":
        strong = chance.randrange(0, 5)
        first_us = chance.randrange(0, 30_000_000)
        row = replace(
            row, arcing_halfcycles=chance.randrange(0, 30), arc_pulses=(9, 9, 5, strong, 0),
            arcing_peak_ua=chance.choice((20_000, 85_000, 150_000)), first_arc_us=first_us,
            last_arc_us=first_us + 29_000_000,
        )  # fmt: skip
    if mood != "dry" and chance.random() < 0.02:
        silent_us = chance.choice((1_000_000, 59_500_000))
        row = replace(row, silent_from_us=silent_us, live_us=silent_us)
    if mood != "dry" and chance.random() < 0.02:
        row = replace(row, clipped_halfcycles=chance.randrange(1, 6))
    if chance.random() < 0.01:
        row = replace(row, flags=chance.choice((("gap",), ("sensor-fault",), ("dry-current-off",))))
    return row


def _tens(chance: random.Random, row: IntervalRow) -> Iterator[IntervalRow]:
    for part in range(6):
        strong = chance.randrange(0, 6)
        yield replace(
            row, span=Span.TEN_SECONDS, start_us=row.start_us + part * TEN_S_US,
            start_counter=row.start_counter + part * 100_000, duration_us=TEN_S_US,
            state_us=tuple(one // 6 for one in row.state_us), arc_pulses=(9, 9, 6, strong, 0),
            first_arc_us=0, last_arc_us=TEN_S_US - 5, silent_from_us=None,
        )  # fmt: skip


def _weather(chance: random.Random, minutes: int) -> Iterator[WeatherRow]:
    dry, minute = True, 0
    while minute < minutes:
        if chance.random() < 0.01:
            dry = not dry
        if chance.random() < 0.004:
            minute += 40  # the station is silent
        rh_cpct = None if chance.random() < 0.05 else (4_500 if dry else 9_200)
        yield weather(minute, rh_cpct=rh_cpct, rain_um=200 if chance.random() < 0.002 else 0)
        minute += 1


def _health(chance: random.Random, minutes: int) -> Iterator[HealthRow]:
    alive_share = chance.choice((0.99, 0.999, 1.0, 1.0))
    alive, line, letter, free_ppm = True, LineStatus.UNKNOWN, Letter.GOOD, 900_000
    steady = chance.random() < 0.7  # a unit without troubles of its own
    for minute in range(minutes):
        alive = chance.random() > alive_share if alive else chance.random() < 0.1
        if chance.random() < 0.01:
            line = chance.choice(tuple(LineStatus))
        if chance.random() < 0.01:
            letter = chance.choice(tuple(Letter))
        if chance.random() < 0.01:
            free_ppm = chance.choice((900_000, 120_000, 50_000))
        row = health(
            minute, source_alive=alive, line_status=line, reasons=("warm",),
            letter=Letter.GOOD if steady else letter,
            storage_free_ppm=900_000 if steady else free_ppm,
            clock_synchronised=steady or chance.random() > 0.002,
            clock_error_us=1500 if steady else chance.choice((1500, 1500, None, 300_000)),
        )  # fmt: skip
        yield row
        if chance.random() < 0.01:
            yield replace(row, start_us=max(START_US, row.start_us - 3 * MINUTE_US))
