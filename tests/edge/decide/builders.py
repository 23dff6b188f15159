"""Rows for deciding, with everything quiet unless said otherwise. Times in seconds from START."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from edge.decide.alarm_table import DEFAULT_ALARMS
from edge.decide.binding import DecisionPlan, WatchedInsulator, bind
from edge.decide.evaluation import DecidedRecord, step
from edge.decide.kept_state import state_from_plain, state_to_plain
from edge.decide.state import DecideState, initial
from edge.quantities import STATES, State
from edge.records import ConditionChange, HealthRow, IntervalRow, Span, WeatherRow

START_US = 1_772_323_200_000_000  # 2026-03-01T00:00:00Z
RATE_HZ = 4800
S = 1_000_000

_EMPTY = IntervalRow(
    span=Span.MINUTE,
    insulator="a",
    start_counter=0,
    start_us=START_US,
    duration_us=60 * S,
    windows=300,
    state=State.DRY,
    state_us=(60 * S, 0, 0, 0, 0, 0),
    halfcycles=6000,
    arcing_halfcycles=0,
    arcing_positive=0,
    arcing_negative=0,
    doubtful_halfcycles=0,
    spike_halfcycles=0,
    clipped_halfcycles=0,
    peak_ua=60,
    arcing_peak_ua=0,
    pulses=(0, 0, 0, 0, 0),
    arc_pulses=(0, 0, 0, 0, 0),
    charge_nc=(0, 0),
    arcing_charge_nc=(0, 0),
    i2t_pa2s=(0, 0),
    arcing_i2t_pa2s=(0, 0),
    energy_uj=None,
    arcing_energy_uj=None,
    frequency_millihz=50_000,
    voltage_mv=None,
    rms_na=40_000,
    mean_na=0,
    h1_na=40_000,
    h2_ppm=None,
    h3_ppm=None,
    h3_cdeg=None,
    h5_ppm=None,
    thd_ppm=None,
    in_phase_na=None,
    quadrature_na=None,
    live_us=60 * S,
    first_arc_us=None,
    last_arc_us=None,
    silent_from_us=None,
    calibration="",
    flags=(),
)


def interval(
    at_s: float,
    state: State | str = State.DRY,
    insulator: str = "a",
    span: Span = Span.MINUTE,
    seconds: float | None = None,
    **said: Any,
) -> IntervalRow:
    """A row that starts at `at_s`; an arcing one arcs from its first to its last second."""
    surface = State(state)
    length_s = (10 if span is Span.TEN_SECONDS else 60) if seconds is None else seconds
    duration_us = round(length_s * S)
    cover = tuple(duration_us if each is surface else 0 for each in STATES)
    row: dict[str, Any] = {
        "start_us": START_US + round(at_s * S),
        "start_counter": round(at_s * RATE_HZ),
        "duration_us": duration_us,
        "state": surface,
        "state_us": cover,
        "insulator": insulator,
        "span": span,
        "live_us": duration_us,
    }
    if said.get("arcing_halfcycles"):
        row |= {"first_arc_us": 0, "last_arc_us": duration_us - 3 * S}
    return replace(_EMPTY, **(row | said))


def health(at_s: float, **said: Any) -> HealthRow:
    """A minute's health record of a unit in good order."""
    row: dict[str, Any] = {
        "start_us": START_US + round(at_s * S),
        "duration_us": 60 * S,
        "clock_source": "gnss",
        "clock_synchronised": True,
        "clock_error_us": 1000,
        "storage_free_ppm": 900_000,
        "backlog": 0,
        "samples": 0,
        "source_alive": True,
    }
    return HealthRow(**(row | said))


def weather(at_s: float, rh_cpct: int | None, seconds: float = 60, **said: Any) -> WeatherRow:
    """Weather over `seconds`."""
    return WeatherRow(
        start_us=START_US + round(at_s * S),
        duration_us=round(seconds * S),
        rh_cpct=rh_cpct,
        **said,
    )


def plan_of(*insulators: str, rate_hz: float | None = RATE_HZ) -> DecisionPlan:
    """The default alarms on insulators of which nothing else is known."""
    named = insulators or ("a",)
    return bind(DEFAULT_ALARMS, [WatchedInsulator(each) for each in named], "5e77", rate_hz)


def decided(
    rows: Iterable[DecidedRecord], plan: DecisionPlan, state: DecideState | None = None
) -> tuple[DecideState, list[ConditionChange]]:
    """All rows through the step."""
    now, changes = initial(plan) if state is None else state, []
    for row in rows:
        now, said = step(now, row, plan)
        changes += said
    return now, changes


def decided_with_restarts(
    rows: Iterable[DecidedRecord], plan: DecisionPlan
) -> list[ConditionChange]:
    """The same, with the state written to JSON text and read back after every row."""
    now, changes = initial(plan), []
    for row in rows:
        now, said = step(now, row, plan)
        now = state_from_plain(json.loads(json.dumps(state_to_plain(now))))
        changes += said
    return changes


def minutes(count: int, from_s: float = 0, **said: Any) -> list[IntervalRow]:
    """Consecutive minute rows that say the same."""
    return [interval(from_s + 60 * each, **said) for each in range(count)]
